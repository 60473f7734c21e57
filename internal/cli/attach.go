package cli

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	pb "jointledger/proto/jointledger/v1"
)

const (
	// maxAttachment is the largest content that the server takes.
	maxAttachment = 20 << 20
	// attachmentChunk is how much of it goes in one message: small enough that a
	// weak signal shows some progress within the timeout.
	attachmentChunk = 64 << 10
)

// attachmentTypes are the media types that are taken.
var attachmentTypes = []string{"image/jpeg", "image/png", "image/webp", "application/pdf"}

func (a *app) attachCommand() *cobra.Command {
	cmd := a.command("attach RECORD FILE...", "Attach photos or certificates to a record",
		"RECORD is the record's id. Files are JPEG, PNG, WebP or PDF of at most 20 MiB each;\ntheir content decides, not their name. The same file again changes nothing. It needs\nthe server: a file does not wait on this device, as an entry does.")
	cmd.Example = "  trackctl attach 019cadd3-6bc0-77c9-9e41-58325664ba11 thread.jpg"
	cmd.Args = func(cmd *cobra.Command, args []string) error {
		if len(args) < 2 {
			return usage("%s takes RECORD FILE...; got %s", cmd.CommandPath(), counted(len(args), "argument"))
		}
		return nil
	}
	cmd.ValidArgsFunction = func(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
		if len(args) == 0 {
			return nil, cobra.ShellCompDirectiveNoFileComp
		}
		return nil, cobra.ShellCompDirectiveDefault
	}
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		// All files are looked at before the first is sent.
		for _, path := range args[1:] {
			if _, err := attachmentType(path); err != nil {
				return err
			}
		}
		_, r, err := a.findRecord(ctx, args[0])
		if err != nil {
			return a.needsServer(err)
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		var sent []*pb.AttachmentInfo
		for _, path := range args[1:] {
			info, err := a.attach(ctx, conn, r.GetName(), path)
			if err != nil {
				return errors.Join(a.tellAttached(sent), a.needsServer(err))
			}
			sent = append(sent, info)
		}
		return a.tellAttached(sent)
	})
}

// needsServer says of a failure to attach that a server out of reach was the cause of
// that this is the one thing which does not wait on the device.
func (a *app) needsServer(err error) error {
	var f *failure
	if !errors.As(err, &f) {
		if !unanswered(err) {
			return err
		}
		f = a.callFailure(err, nil)
	}
	if f.code == exitUnavailable || f.code == exitTryAgain {
		f.lines = append(f.lines, "files don't wait on this device, as entries do: keep the file, and attach it to its record when the server can be reached")
	}
	return f
}

func (a *app) tellAttached(sent []*pb.AttachmentInfo) error {
	if a.format == output.Table {
		for _, i := range sent {
			if _, err := fmt.Fprintf(a.out, "attached: %s, %s, %d bytes  (%s)\n", output.Printable(i.GetFileName()), i.GetMediaType(), i.GetSizeBytes(), i.GetName()); err != nil {
				return err
			}
		}
		return nil
	}
	return list(a, 0, "attachments", attachmentColumns(), func(int32, string) ([]*pb.AttachmentInfo, string, error) { return sent, "", nil })
}

// attachmentType reads from a file's content what it is, and checks that it can be
// attached.
func attachmentType(path string) (string, error) {
	file, err := os.Open(path)
	if err != nil {
		return "", &failure{code: exitNoInput, message: fmt.Sprintf("%s can't be read: %v", path, pathCause(err))}
	}
	defer file.Close()
	info, err := file.Stat()
	if err != nil || !info.Mode().IsRegular() {
		return "", &failure{code: exitNoInput, message: fmt.Sprintf("%s can't be read: expected a file", path)}
	}
	if info.Size() > maxAttachment || info.Size() == 0 {
		return "", &failure{code: exitData, message: fmt.Sprintf("%s: expected 1 byte to 20 MiB, got %d bytes", path, info.Size())}
	}
	head := make([]byte, 512)
	n, err := io.ReadFull(file, head)
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return "", &failure{code: exitIO, message: fmt.Sprintf("%s can't be read: %v", path, err)}
	}
	got, _, _ := strings.Cut(http.DetectContentType(head[:n]), ";")
	for _, t := range attachmentTypes {
		if got == t {
			return t, nil
		}
	}
	return "", &failure{code: exitData, message: fmt.Sprintf("%s: expected a JPEG, PNG, WebP or PDF, got %s", path, got)}
}

func pathCause(err error) error {
	var e *os.PathError
	if errors.As(err, &e) {
		return e.Err
	}
	return err
}

// attach sends one file.
func (a *app) attach(ctx context.Context, conn *grpc.ClientConn, record, path string) (*pb.AttachmentInfo, error) {
	media, err := attachmentType(path)
	if err != nil {
		return nil, err
	}
	content, err := os.ReadFile(path)
	if err != nil {
		return nil, &failure{code: exitNoInput, message: fmt.Sprintf("%s can't be read: %v", path, pathCause(err))}
	}
	sum := sha256.Sum256(content)
	stream, err := pb.NewAttachmentServiceClient(conn).UploadAttachment(ctx)
	if err != nil {
		return nil, err
	}
	head := &pb.AttachmentHead{Record: record, FileName: filepath.Base(path), MediaType: media, Sha256: sum[:]}
	err = stream.Send(&pb.UploadAttachmentRequest{Part: &pb.UploadAttachmentRequest_Head{Head: head}})
	for len(content) > 0 && err == nil {
		n := min(attachmentChunk, len(content))
		err = stream.Send(&pb.UploadAttachmentRequest{Part: &pb.UploadAttachmentRequest_Chunk{Chunk: content[:n]}})
		content = content[n:]
	}
	// When the server has answered before the end, sending gives io.EOF and the
	// answer says why.
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, err
	}
	info, err := stream.CloseAndRecv()
	if err != nil {
		f := a.callFailure(err, map[string]string{"record": "RECORD", "file_name": "FILE", "media_type": "FILE", "content": "FILE"})
		f.message = path + ": " + f.message
		return nil, f
	}
	return info, nil
}

func attachmentColumns() []output.Column[*pb.AttachmentInfo] {
	type info = *pb.AttachmentInfo
	return []output.Column[info]{
		{Name: "file_name", Heading: "FILE", Value: func(i info) any { return i.GetFileName() }},
		{Name: "media_type", Heading: "TYPE", Value: func(i info) any { return i.GetMediaType() }},
		{Name: "size_bytes", Heading: "BYTES", Value: func(i info) any { return i.GetSizeBytes() }},
		{Name: "attached_at", Heading: "ATTACHED", Value: func(i info) any { return when(i.GetCreateTime()) }},
		{Name: "record", Value: func(i info) any { return text(i.GetRecord()) }},
		{Name: "name", Heading: "NAME", Value: func(i info) any { return i.GetName() }},
	}
}

func (a *app) attachmentsCommand() *cobra.Command {
	cmd := a.command("attachments RECORD", "List what is attached to a record, oldest first", "RECORD is the record's id.")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		_, r, err := a.findRecord(ctx, args[0])
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		return list(a, 0, "attachments", attachmentColumns(), func(int32, string) ([]*pb.AttachmentInfo, string, error) {
			got, err := pb.NewAttachmentServiceClient(conn).ListAttachments(ctx, &pb.ListAttachmentsRequest{Record: r.GetName()})
			return got.GetAttachments(), "", err
		})
	})
}

func (a *app) attachmentCommand() *cobra.Command {
	return group("attachment", "Attachments by their name", a.attachmentSave())
}

func (a *app) attachmentSave() *cobra.Command {
	var force bool
	cmd := a.command("save NAME FILE", "Save an attachment to a file",
		"NAME is attachments/ and the SHA-256 of the content, or that alone, as attachments\nRECORD shows it. What comes is checked against it.")
	cmd.Flags().BoolVar(&force, "force", false, "write over a file that is there")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		want, err := hex.DecodeString(strings.ToLower(strings.TrimPrefix(args[0], "attachments/")))
		if err != nil || len(want) != sha256.Size {
			return usage("NAME: expected attachments/ and 64 hexadecimal digits, got %s", csvfile.Quote(args[0]))
		}
		if _, err := os.Lstat(args[1]); err == nil && !force {
			return &failure{code: exitCantWrite, message: args[1] + " is there already; --force writes over it"}
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		return a.saveAttachment(ctx, conn, want, args[1])
	})
}

// saveAttachment writes beside the file first, so that what stands under its name
// is whole and is what was asked for.
func (a *app) saveAttachment(ctx context.Context, conn *grpc.ClientConn, want []byte, path string) error {
	name := "attachments/" + hex.EncodeToString(want)
	stream, err := pb.NewAttachmentServiceClient(conn).DownloadAttachment(ctx, &pb.DownloadAttachmentRequest{Name: name})
	if err != nil {
		return err
	}
	file, err := os.CreateTemp(filepath.Dir(path), ".trackctl-*")
	if err != nil {
		return &failure{code: exitCantWrite, message: fmt.Sprintf("%s can't be written: %v", path, pathCause(err))}
	}
	written := false
	defer func() {
		if !written {
			_ = os.Remove(file.Name()) // what failed is told already
		}
	}()
	size, err := receiveAttachment(stream, file, want)
	closed := file.Close()
	if err != nil {
		return err
	}
	if closed == nil {
		closed = os.Rename(file.Name(), path)
	}
	if closed != nil {
		return &failure{code: exitCantWrite, message: fmt.Sprintf("%s can't be written: %v", path, closed)}
	}
	written = true
	return kept(a, "attachments", savedColumns(), saved{name, path, size}, "saved: %s, %d bytes", output.Printable(path), size)
}

// receiveAttachment writes the content that comes and checks it.
func receiveAttachment(stream grpc.ServerStreamingClient[pb.DownloadAttachmentResponse], file io.Writer, want []byte) (int64, error) {
	sum, size := sha256.New(), int64(0)
	for {
		part, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return 0, err
		}
		sum.Write(part.GetChunk())
		size += int64(len(part.GetChunk()))
		if _, err := file.Write(part.GetChunk()); err != nil {
			return 0, &failure{code: exitCantWrite, message: fmt.Sprintf("the file can't be written: %v", err)}
		}
	}
	if got := sum.Sum(nil); !bytes.Equal(got, want) {
		return 0, &failure{code: exitIO, message: fmt.Sprintf("the content that came has the SHA-256 %x, expected %x; nothing was saved", got, want)}
	}
	return size, nil
}

// saved is an attachment that was written to a file.
type saved struct {
	name, path string
	size       int64
}

func savedColumns() []output.Column[saved] {
	return []output.Column[saved]{
		{Name: "name", Value: func(s saved) any { return s.name }},
		{Name: "file", Value: func(s saved) any { return s.path }},
		{Name: "size_bytes", Value: func(s saved) any { return s.size }},
	}
}
