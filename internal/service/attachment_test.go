package service_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	pb "jointledger/proto/jointledger/v1"
)

// The first bytes of each media type, from the formats' own documents: PNG (ISO
// 15948:2004, 5.2), JPEG (ISO 10918-1:1994, annex B: SOI and the first marker),
// WebP (RFC 9649, section 2.4), PDF (ISO 32000-1:2008, 7.5.2).
var signatures = map[string]string{
	"image/png":       "\x89PNG\r\n\x1a\n",
	"image/jpeg":      "\xff\xd8\xff\xe0",
	"image/webp":      "RIFF\x24\x00\x00\x00WEBPVP8 ",
	"application/pdf": "%PDF-1.7\n",
}

// content is so many bytes that begin as the media type does.
func content(mediaType string, size int) []byte {
	b := bytes.Repeat([]byte{0, 1, 2, 3, 4, 5, 6}, size/7+1)[:size]
	copy(b, signatures[mediaType])
	return b
}

func picture(size int) []byte { return content("image/png", size) }

func head(record, fileName, mediaType string) *pb.AttachmentHead {
	return &pb.AttachmentHead{Record: record, FileName: fileName, MediaType: mediaType}
}

func headPart(h *pb.AttachmentHead) *pb.UploadAttachmentRequest {
	return &pb.UploadAttachmentRequest{Part: &pb.UploadAttachmentRequest_Head{Head: h}}
}

func chunkPart(b []byte) *pb.UploadAttachmentRequest {
	return &pb.UploadAttachmentRequest{Part: &pb.UploadAttachmentRequest_Chunk{Chunk: b}}
}

// send sends the messages and gives the answer.
func send(t *testing.T, c clients, messages ...*pb.UploadAttachmentRequest) (*pb.AttachmentInfo, error) {
	t.Helper()
	stream, err := c.files.UploadAttachment(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, m := range messages {
		if err := stream.Send(m); err != nil {
			if errors.Is(err, io.EOF) {
				break // it was answered already
			}
			t.Fatal(err)
		}
	}
	return stream.CloseAndRecv()
}

// inChunks is a whole upload.
func inChunks(h *pb.AttachmentHead, b []byte, size int) []*pb.UploadAttachmentRequest {
	parts := []*pb.UploadAttachmentRequest{headPart(h)}
	for len(b) > 0 {
		n := min(size, len(b))
		parts = append(parts, chunkPart(b[:n]))
		b = b[n:]
	}
	return parts
}

func upload(t *testing.T, c clients, h *pb.AttachmentHead, b []byte) *pb.AttachmentInfo {
	t.Helper()
	return must[*pb.AttachmentInfo](t)(send(t, c, inChunks(h, b, 1<<20)...))
}

// download reads the content and the size of its largest chunk.
func download(t *testing.T, c clients, name string) (b []byte, largest int, err error) {
	t.Helper()
	stream, err := c.files.DownloadAttachment(t.Context(), &pb.DownloadAttachmentRequest{Name: name})
	if err != nil {
		t.Fatal(err)
	}
	for {
		m, err := stream.Recv()
		if errors.Is(err, io.EOF) {
			return b, largest, nil
		}
		if err != nil {
			return nil, 0, err
		}
		b, largest = append(b, m.Chunk...), max(largest, len(m.Chunk))
	}
}

func TestAttachmentsComeBackAsTheyWereSent(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		readyToWork(t, c)
		work, other := sound("2026-03-02T09:00:00Z", 8), sound("2026-03-02T10:00:00Z", 8)
		taken(t, []*pb.Outcome{record(t, c, work), record(t, c, other)})

		var want []*pb.AttachmentInfo
		for i, tc := range []struct {
			mediaType, fileName string
			size, chunk         int
		}{
			{"image/png", "höhe 3 m.png", 1, 1 << 20}, {"image/jpeg", "a.jpg", 256<<10 + 1, 1000}, {"image/webp", "a.webp", 3<<20 - 5, 1 << 20}, {"application/pdf", "C-1.pdf", 512 << 10, 1 << 19},
		} {
			b := content(tc.mediaType, max(tc.size, 16)+i)
			sum := sha256.Sum256(b)
			h := head(work.Name, tc.fileName, tc.mediaType)
			h.Sha256 = sum[:]
			got := must[*pb.AttachmentInfo](t)(send(t, c, inChunks(h, b, tc.chunk)...))
			info := &pb.AttachmentInfo{
				Name: "attachments/" + hex.EncodeToString(sum[:]), Record: work.Name, FileName: tc.fileName, MediaType: tc.mediaType,
				SizeBytes: int64(len(b)), CreateTime: got.GetCreateTime(),
			}
			if d := cmp.Diff(info, got, protocmp.Transform()); d != "" || got.CreateTime == nil {
				t.Errorf("%s: %s", tc.fileName, d)
			}
			want = append(want, info)
			back, largest, err := download(t, c, got.Name)
			if err != nil || !bytes.Equal(back, b) || largest > 256<<10 {
				t.Errorf("%s: %d of %d bytes, the largest chunk %d, %v", tc.fileName, len(back), len(b), largest, err)
			}
			// The same again, also under another name, changes nothing.
			again := upload(t, c, head(work.Name, "other-"+tc.fileName, tc.mediaType), b)
			if d := cmp.Diff(info, again, protocmp.Transform()); d != "" {
				t.Errorf("%s again: %s", tc.fileName, d)
			}
		}
		list := must[*pb.ListAttachmentsResponse](t)(c.files.ListAttachments(ctx, &pb.ListAttachmentsRequest{Record: work.Name}))
		if d := cmp.Diff(want, list.Attachments, protocmp.Transform()); d != "" {
			t.Error(d)
		}
		none := must[*pb.ListAttachmentsResponse](t)(c.files.ListAttachments(ctx, &pb.ListAttachmentsRequest{Record: other.Name}))
		if len(none.Attachments) != 0 {
			t.Errorf("%v", none)
		}
		// One content may belong to several records.
		shared := upload(t, c, head(other.Name, "a.pdf", "application/pdf"), content("application/pdf", 512<<10+3))
		if shared.Name != want[3].Name || shared.Record != other.Name || shared.FileName != "a.pdf" {
			t.Errorf("%v", shared)
		}
	})
}

func TestAttachmentsHaveLimits(t *testing.T) {
	c, _ := fleet(t), t.Context()
	readyToWork(t, c)
	work := sound("2026-03-02T09:00:00Z", 8)
	taken(t, []*pb.Outcome{record(t, c, work)})
	ok := head(work.Name, "a.png", "image/png")

	full := picture(20 << 20)
	if got := upload(t, c, ok, full); got.SizeBytes != 20<<20 {
		t.Errorf("20 MiB: %v", got)
	}
	_, err := send(t, c, append(inChunks(ok, full, 1<<20), chunkPart([]byte{0}))...)
	if d := cmp.Diff("ResourceExhausted: the attachment has more than 20971520 bytes (20 MiB); make the picture smaller\nreason jointledger/LIMIT_EXCEEDED\ndetail *errdetails.QuotaFailure", render(err)); d != "" {
		t.Errorf("a byte more: %s", d)
	}
	const invalid = "InvalidArgument: upload is not valid\nreason jointledger/INVALID_FIELD\n"
	_, err = send(t, c, headPart(ok), chunkPart(picture(1<<20+1)))
	if d := cmp.Diff(invalid+"field chunk: has 1048577 bytes; expected at most 1048576 (1 MiB)", render(err)); d != "" {
		t.Error(d)
	}
	long := head(work.Name, strings.Repeat("ö", 200), "image/png")
	if got := upload(t, c, long, picture(100)); got.FileName != long.FileName {
		t.Errorf("%v", got)
	}
}

func TestUploadsThatAreRefused(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	readyToWork(t, c)
	work := sound("2026-03-02T09:00:00Z", 8)
	taken(t, []*pb.Outcome{record(t, c, work)})
	ok := head(work.Name, "a.png", "image/png")
	announced := head(work.Name, "a.png", "image/png")
	other := sha256.Sum256([]byte("something else"))
	announced.Sha256 = other[:]
	is := sha256.Sum256(picture(100))
	lost := head("tightenings/01a211ed-f7a7-792f-8c41-ee1e40901d2b", "a.png", "image/png")
	bad := head("lots/M10-S-1", "", "image/svg+xml")
	bad.Sha256 = []byte{1, 2}

	const invalid = "InvalidArgument: upload is not valid\nreason jointledger/INVALID_FIELD\n"
	for name, tc := range map[string]struct {
		parts []*pb.UploadAttachmentRequest
		want  string
	}{
		"nothing":       {nil, invalid + "field head: is required, in the first message"},
		"no head":       {[]*pb.UploadAttachmentRequest{chunkPart(picture(10))}, invalid + "field head: is required, in the first message; it has something else"},
		"an empty part": {[]*pb.UploadAttachmentRequest{{}}, invalid + "field head: is required, in the first message; it has something else"},
		"two heads":     {[]*pb.UploadAttachmentRequest{headPart(ok), headPart(ok)}, invalid + "field chunk: is required in every message but the first"},
		"no content":    {[]*pb.UploadAttachmentRequest{headPart(ok)}, invalid + "field chunk: there is no content"},
		"only empty chunks": {[]*pb.UploadAttachmentRequest{headPart(ok), chunkPart([]byte{}), chunkPart([]byte{})},
			invalid + "field chunk: there is no content"},
		"everything wrong": {[]*pb.UploadAttachmentRequest{headPart(bad)}, invalid +
			`field head.record: "lots/M10-S-1" is not the name of a record; expected one such as tightenings/{id}
field head.file_name: is required
field head.media_type: "image/svg+xml" is not taken; expected one of image/jpeg, image/png, image/webp, application/pdf
field head.sha256: has 2 bytes; expected 32, or none`},
		"a path": {inChunks(head(work.Name, "../a.png", "image/png"), picture(10), 10), invalid + `field head.file_name: "../a.png" is not the name of a file alone; expected one without folders`},
		"a long name": {inChunks(head(work.Name, strings.Repeat("ö", 201), "image/png"), picture(10), 10),
			invalid + "field head.file_name: has 201 characters; expected at most 200"},
		"a control character": {inChunks(head(work.Name, "a\nb.png", "image/png"), picture(10), 10),
			invalid + "field head.file_name: contains a control character; expected plain text"},
		"an unknown record": {inChunks(lost, picture(10), 10), `NotFound: tightening "01a211ed-f7a7-792f-8c41-ee1e40901d2b" is not known
reason jointledger/UNKNOWN_RESOURCE
resource jointledger/Tightening tightenings/01a211ed-f7a7-792f-8c41-ee1e40901d2b`},
		"a page as a picture": {inChunks(ok, []byte("<html><script>alert(1)</script>"), 100),
			invalid + "field head.media_type: the content is not image/png; its first bytes are those of text/html; charset=utf-8"},
		"one picture as another": {inChunks(ok, content("image/jpeg", 100), 100), invalid + "field head.media_type: the content is not image/png; its first bytes are those of image/jpeg"},
		"damaged on the way": {inChunks(announced, picture(100), 60), invalid + "field head.sha256: the content that came has the SHA-256 " + hex.EncodeToString(is[:]) +
			", not " + hex.EncodeToString(other[:]) + ": send it again"},
	} {
		_, err := send(t, c, tc.parts...)
		if d := cmp.Diff(tc.want, render(err)); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
	list := must[*pb.ListAttachmentsResponse](t)(c.files.ListAttachments(ctx, &pb.ListAttachmentsRequest{Record: work.Name}))
	if len(list.Attachments) != 0 {
		t.Errorf("something was kept: %v", list)
	}
}

func TestAttachmentsThatAreNotThere(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	none := "attachments/" + strings.Repeat("ab", 32)
	_, _, err := download(t, c, none)
	if got := render(err); !strings.HasPrefix(got, "NotFound: attachment ") || !strings.HasSuffix(got, "\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Attachment "+none) {
		t.Error(got)
	}
	const invalid = "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield "
	for name, want := range map[string]string{
		"":                        "name: is required; expected attachments/{sha256}",
		"attachments/ab":          `name: "ab" is not a SHA-256; expected 64 hexadecimal digits`,
		"attachments/a/b":         `name: "attachments/a/b" is not such a name; expected attachments/{sha256}`,
		"tightenings/1":           `name: "tightenings/1" is not such a name; expected attachments/{sha256}`,
		none[:len(none)-1]:        `name: "` + none[12:len(none)-1] + `" is not a SHA-256; expected 64 hexadecimal digits`,
		none + "ab":               `name: "` + none[12:] + `ab" is not a SHA-256; expected 64 hexadecimal digits`,
		none[:len(none)-2] + "xy": `name: "` + none[12:len(none)-2] + `xy" is not a SHA-256; expected 64 hexadecimal digits`,
	} {
		_, _, err := download(t, c, name)
		if d := cmp.Diff(invalid+want, render(err)); d != "" {
			t.Errorf("%q: %s", name, d)
		}
	}
	record := "holds/" + newID()
	_, err = c.files.ListAttachments(ctx, &pb.ListAttachmentsRequest{Record: record})
	if got := render(err); !strings.HasPrefix(got, "NotFound: hold ") || !strings.HasSuffix(got, "\nresource jointledger/Hold "+record) {
		t.Error(got)
	}
	_, err = c.files.ListAttachments(ctx, &pb.ListAttachmentsRequest{Record: "people/nd1"})
	if got := render(err); got != invalid+`record: "people/nd1" is not the name of a record; expected one such as tightenings/{id}` {
		t.Error(got)
	}
}
