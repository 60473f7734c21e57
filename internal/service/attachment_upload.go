package service

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"
	"google.golang.org/grpc"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

const (
	maxAttachmentBytes = 20 << 20
	maxChunkBytes      = 1 << 20
	maxFileName        = 200 // characters
)

// mediaTypes are those of photos and certificates. Each is one that its first
// bytes tell, so that what is handed over opens as what it says it is.
var mediaTypes = []string{"image/jpeg", "image/png", "image/webp", "application/pdf"}

type uploadStream = grpc.ClientStreamingServer[pb.UploadAttachmentRequest, pb.AttachmentInfo]

// UploadAttachment takes in one attachment: its head, then its content.
func (s attachmentService) UploadAttachment(stream uploadStream) error {
	ctx := stream.Context()
	head, err := receiveHead(stream)
	if err != nil {
		return err
	}
	// Nobody sends 20 MiB over a poor line to hear that the record is unknown.
	about, err := s.store.FindRecord(ctx, head.kind, head.id)
	if err != nil {
		return err
	}
	if err := allowAttaching(ctx, about); err != nil {
		return err
	}
	content, err := receiveContent(stream)
	if err != nil {
		return err
	}
	a := store.Attachment{FileName: head.fileName, MediaType: head.mediaType, Size: int64(len(content)), SHA256: sha256.Sum256(content)}
	a.Record = ledger.RecordName(head.kind, head.id)
	if err := head.check(content, a.SHA256); err != nil {
		return err
	}
	kept, err := s.store.Attach(ctx, head.kind, head.id, a, content)
	if err != nil {
		return err
	}
	return stream.SendAndClose(attachmentTo(kept))
}

// allowAttaching asks whether the caller may attach something to a record. The
// certificate of a calibration is attached where the tool was calibrated, as callerOf
// has it.
func allowAttaching(ctx context.Context, about ledger.Record) error {
	if about.RecordKind() == ledger.KindCalibration {
		return access.Allow(ctx, access.Attach)
	}
	return access.AllowAt(ctx, access.Attach, about.SiteCode())
}

// attachmentHead is what an upload says of what follows.
type attachmentHead struct {
	kind                ledger.RecordKind
	id                  uuid.UUID
	fileName, mediaType string
	sum                 []byte // empty when none was announced
}

func receiveHead(stream uploadStream) (attachmentHead, error) {
	var head attachmentHead
	m, err := stream.Recv()
	switch {
	case errors.Is(err, io.EOF):
		return head, ledger.InvalidField("upload", "head", "is required, in the first message")
	case err != nil:
		return head, err
	case m.GetHead() == nil:
		return head, ledger.InvalidField("upload", "head", "is required, in the first message; it has something else")
	}
	var p problems
	head.kind, head.id = p.AnyRecord("head.record", m.GetHead().GetRecord())
	head.fileName = fileNameIn(&p, "head.file_name", m.GetHead().GetFileName())
	head.mediaType = m.GetHead().GetMediaType()
	if !slices.Contains(mediaTypes, head.mediaType) {
		p.Add("head.media_type", "%q is not taken; expected one of %s", head.mediaType, strings.Join(mediaTypes, ", "))
	}
	head.sum = m.GetHead().GetSha256()
	if n := len(head.sum); n != 0 && n != sha256.Size {
		p.Add("head.sha256", "has %d bytes; expected %d, or none", n, sha256.Size)
	}
	return head, ledger.Invalid("upload", p)
}

// fileNameIn reads the name of a file alone: where it lay is nobody's business, and
// whoever fetches it writes it where he wants.
func fileNameIn(p *problems, field, name string) string {
	switch n := utf8.RuneCountInString(name); {
	case name == "":
		p.Add(field, "is required")
	case n > maxFileName:
		p.Add(field, "has %d characters; expected at most %d", n, maxFileName)
	case strings.ContainsFunc(name, unicode.IsControl):
		p.Add(field, "contains a control character; expected plain text")
	case strings.ContainsAny(name, `/\`) || name == "." || name == "..":
		p.Add(field, "%q is not the name of a file alone; expected one without folders", name)
	}
	return name
}

func receiveContent(stream uploadStream) ([]byte, error) {
	var content bytes.Buffer
	for {
		m, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return content.Bytes(), nil
		case err != nil:
			return nil, err
		}
		part, ok := m.GetPart().(*pb.UploadAttachmentRequest_Chunk)
		switch {
		case !ok:
			return nil, ledger.InvalidField("upload", "chunk", "is required in every message but the first")
		case len(part.Chunk) > maxChunkBytes:
			return nil, ledger.InvalidField("upload", "chunk", "has %d bytes; expected at most %d (1 MiB)", len(part.Chunk), maxChunkBytes)
		case content.Len()+len(part.Chunk) > maxAttachmentBytes:
			return nil, &ledger.Error{
				Kind: ledger.KindLimit, Reason: ledger.ReasonLimitExceeded,
				Message: fmt.Sprintf("the attachment has more than %d bytes (20 MiB); make the picture smaller", maxAttachmentBytes),
			}
		}
		content.Write(part.Chunk)
	}
}

// check compares the content with what the head says of it.
func (h attachmentHead) check(content []byte, sum [sha256.Size]byte) error {
	if len(content) == 0 {
		return ledger.InvalidField("upload", "chunk", "there is no content")
	}
	// The signatures of the MIME Sniffing Standard (WHATWG), sections 6.1 and 7.1.
	if is := http.DetectContentType(content); is != h.mediaType {
		return ledger.InvalidField("upload", "head.media_type", "the content is not %s; its first bytes are those of %s", h.mediaType, is)
	}
	if len(h.sum) != 0 && !bytes.Equal(h.sum, sum[:]) {
		return ledger.InvalidField("upload", "head.sha256", "the content that came has the SHA-256 %x, not %x: send it again", sum, h.sum)
	}
	return nil
}
