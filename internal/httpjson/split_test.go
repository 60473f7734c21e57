package httpjson

import (
	"encoding/binary"
	"encoding/json"
	"testing"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	_ "jointledger/internal/rpc" // registers the API
)

// FuzzBody reads any body as requests, and finds each again in the frames.
func FuzzBody(f *testing.F) {
	for _, s := range []string{"", "{}", "{}{}", `{"head":{"fileName":"a"}}` + "\n" + `{"chunk":"YQ=="}`, `{"chunk":`, "[", "null", "\x00", `{"a":1}`} {
		f.Add([]byte(s))
	}
	request, err := protoregistry.GlobalTypes.FindMessageByName("jointledger.v1.UploadAttachmentRequest")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, body []byte) {
		requests, wrong := split(body, method{request: request, client: true})
		if wrong != nil {
			if wrong.status != 400 || wrong.message == "" || requests != nil {
				t.Errorf("%+v, %d requests", wrong, len(requests))
			}
			return
		}
		frames := framed(requests)
		for _, r := range requests {
			n := binary.BigEndian.Uint32(frames[1:frameHead])
			if frames[0] != 0 || string(frames[frameHead:frameHead+n]) != string(r) || !json.Valid(r) {
				t.Fatalf("%q is framed as %q", r, frames)
			}
			frames = frames[frameHead+n:]
		}
		if len(frames) != 0 {
			t.Errorf("%q is left", frames)
		}
	})
}

// A last line with an error could be taken for a message that has a field of that name.
func TestNoStreamedMessageHasAFieldError(t *testing.T) {
	streams := 0
	protoregistry.GlobalFiles.RangeFiles(func(f protoreflect.FileDescriptor) bool {
		for i := range f.Services().Len() {
			for j := range f.Services().Get(i).Methods().Len() {
				m := f.Services().Get(i).Methods().Get(j)
				if f.Package() != "jointledger.v1" || !m.IsStreamingServer() {
					continue
				}
				streams++
				if m.Output().Fields().ByJSONName("error") != nil {
					t.Errorf("%s answers with a field error", m.FullName())
				}
			}
		}
		return true
	})
	if streams < 4 {
		t.Errorf("only %d streams were found", streams)
	}
}
