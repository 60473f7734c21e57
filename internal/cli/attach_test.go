package cli

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	pb "jointledger/proto/jointledger/v1"
)

// png is the start of a PNG (ISO/IEC 15948, 5.2) with something behind it.
func png(size int) []byte {
	return append([]byte("\x89PNG\r\n\x1a\n"), bytes.Repeat([]byte{7}, size-8)...)
}

func TestAttach(t *testing.T) {
	content := png(3*attachmentChunk + 5)
	path := filepath.Join(t.TempDir(), "bolt.png")
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
		switch method {
		case "GetIncident":
			return &pb.Incident{Name: "incidents/" + mistakenID}, nil
		case "UploadAttachment":
			return &pb.AttachmentInfo{Name: "attachments/00ff", FileName: "bolt.png", MediaType: "image/png", SizeBytes: int64(len(content))}, nil
		}
		return nil, notFound()
	})
	file := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(file, []byte("s3cret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errOut := run(t, a.address, map[string]string{envTokenFile: file}, "attach", mistakenID, path)
	if want := fmt.Sprintf("attached: bolt.png, image/png, %d bytes  (attachments/00ff)\n", len(content)); code != 0 || out != want {
		t.Fatalf("exit %d: %q %q", code, out, errOut)
	}
	if got := a.headers.Get("authorization"); len(got) != 1 || got[0] != "Bearer s3cret" {
		t.Errorf("authorization %q", got)
	}
	var sent []byte
	for i, part := range a.streams["UploadAttachment"] {
		var r pb.UploadAttachmentRequest
		if err := proto.Unmarshal(part, &r); err != nil {
			t.Fatal(err)
		}
		if head := r.GetHead(); i == 0 {
			sum := sha256.Sum256(content)
			if head.GetRecord() != "incidents/"+mistakenID || head.GetFileName() != "bolt.png" || head.GetMediaType() != "image/png" || !bytes.Equal(head.GetSha256(), sum[:]) {
				t.Errorf("head %v", head)
			}
		} else if head != nil || len(r.GetChunk()) > 1<<20 {
			t.Errorf("part %d: %d bytes, head %v", i, len(r.GetChunk()), head)
		}
		sent = append(sent, r.GetChunk()...)
	}
	if !bytes.Equal(sent, content) {
		t.Errorf("%d bytes came, of %d", len(sent), len(content))
	}
}

// Nothing is sent of a file that can't be attached, nor of those named with it.
func TestAttachLooksAtTheFilesFirst(t *testing.T) {
	dir := t.TempDir()
	file := func(name string, content []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	good := file("good.png", png(20))
	a := newAnswering(t, func(method string, _ []byte) (proto.Message, error) {
		if method == "GetIncident" {
			return &pb.Incident{Name: "incidents/" + mistakenID}, nil
		}
		return &pb.AttachmentInfo{}, nil
	})
	for _, tc := range []struct {
		path string
		code int
		want string
	}{
		{file("photo.jpg", []byte("only text")), exitData, "photo.jpg: expected a JPEG, PNG, WebP or PDF, got text/plain"},
		{file("empty.png", nil), exitData, "empty.png: expected 1 byte to 20 MiB, got 0 bytes"},
		{file("huge.png", png(maxAttachment+1)), exitData, "huge.png: expected 1 byte to 20 MiB, got 20971521 bytes"},
		{filepath.Join(dir, "absent.png"), exitNoInput, "absent.png can't be read: no such file"},
		{dir, exitNoInput, "can't be read: expected a file"},
	} {
		code, out, errOut := run(t, a.address, nil, "attach", "incidents/"+mistakenID, good, tc.path)
		if code != tc.code || out != "" || !strings.Contains(errOut, tc.want) {
			t.Errorf("%s: exit %d, %q %q", tc.path, code, out, errOut)
		}
	}
	if len(a.requests) != 0 {
		t.Errorf("calls were made: %v", a.requests)
	}
}

func TestAttachmentSave(t *testing.T) {
	content := png(5000)
	sum := sha256.Sum256(content)
	name := fmt.Sprintf("attachments/%x", sum)
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		return parts{of: []proto.Message{&pb.DownloadAttachmentResponse{Chunk: content[:3000]}, &pb.DownloadAttachmentResponse{Chunk: content[3000:]}}}, nil
	})
	dir := t.TempDir()
	path := filepath.Join(dir, "bolt.png")
	code, out, errOut := run(t, a.address, nil, "attachment", "save", name, path)
	if got, err := os.ReadFile(path); code != 0 || out != "saved: "+path+", 5000 bytes\n" || err != nil || !bytes.Equal(got, content) {
		t.Fatalf("exit %d, %q %q, %v", code, out, errOut, err)
	}
	if code, _, errOut := run(t, a.address, nil, "attachment", "save", name, path); code != exitCantWrite || !strings.Contains(errOut, "is there already") {
		t.Errorf("exit %d, %q", code, errOut)
	}
	content[4000]++
	if code, _, errOut := run(t, a.address, nil, "attachment", "save", strings.ToUpper(name[12:]), path, "--force"); code != exitIO || !strings.Contains(errOut, "nothing was saved") {
		t.Errorf("exit %d, %q", code, errOut)
	}
	content[4000]--
	if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, content) {
		t.Errorf("a damaged content took the place of the good one (%v)", err)
	}
	if left, err := filepath.Glob(filepath.Join(dir, ".trackctl*")); err != nil || len(left) != 0 {
		t.Errorf("left behind: %v %v", left, err)
	}
}

// A stream on which nothing moves is given up; one that moves may be slow.
func TestStreamsTimeOutWhenNothingMoves(t *testing.T) {
	release := make(chan struct{})
	a := newAnswering(t, func(string, []byte) (proto.Message, error) {
		<-release
		return parts{}, nil
	})
	name := "attachments/" + strings.Repeat("0", 64)
	code, _, errOut := run(t, a.address, nil, "attachment", "save", name, filepath.Join(t.TempDir(), "x"), "--timeout", "60ms")
	close(release)
	if code != exitTryAgain || !strings.Contains(errOut, "did not answer within 60ms") {
		t.Errorf("exit %d, %q", code, errOut)
	}
}
