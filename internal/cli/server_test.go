package cli

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
)

// answering is a listener that answers every call alike, so that what trackctl
// sends, and what it makes of an answer, can be seen without a server: the
// server's own behaviour is tested with the real one in testdata/script.
type answering struct {
	address string
	// reply answers a call; requests and headers are what came, streams all that
	// came in one.
	reply    func(method string, request []byte) (proto.Message, error)
	requests map[string][]byte
	streams  map[string][][]byte
	headers  metadata.MD
}

// parts is the answer of a call that streams.
type parts struct {
	proto.Message
	of []proto.Message
}

// rawCodec hands messages through as bytes.
type rawCodec struct{}

func (rawCodec) Marshal(v any) ([]byte, error) {
	if b, ok := v.([]byte); ok {
		return b, nil
	}
	return proto.Marshal(v.(proto.Message))
}

func (rawCodec) Unmarshal(data []byte, v any) error {
	*v.(*[]byte) = append([]byte(nil), data...)
	return nil
}

func (rawCodec) Name() string { return "proto" }

func newAnswering(t *testing.T, reply func(method string, request []byte) (proto.Message, error)) *answering {
	t.Helper()
	a := &answering{reply: reply, requests: map[string][]byte{}, streams: map[string][][]byte{}}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	a.address = listener.Addr().String()
	server := grpc.NewServer(grpc.ForceServerCodec(rawCodec{}), grpc.UnknownServiceHandler(func(_ any, stream grpc.ServerStream) error {
		path, _ := grpc.MethodFromServerStream(stream)
		method := path[strings.LastIndexByte(path, '/')+1:]
		var request []byte
		a.streams[method] = nil
		for {
			var part []byte
			if err := stream.RecvMsg(&part); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				return err
			}
			request = part
			a.streams[method] = append(a.streams[method], part)
		}
		a.requests[method] = request
		a.headers, _ = metadata.FromIncomingContext(stream.Context())
		answer, err := a.reply(method, request)
		if err != nil {
			return err
		}
		parts, several := answer.(parts)
		if !several {
			return stream.SendMsg(answer)
		}
		for _, p := range parts.of {
			if err := stream.SendMsg(p); err != nil {
				return err
			}
		}
		return nil
	}))
	done := make(chan struct{})
	go func() {
		defer close(done)
		// A test that asks nothing may end before this begins.
		if err := server.Serve(listener); err != nil && !errors.Is(err, grpc.ErrServerStopped) {
			t.Errorf("serve: %v", err)
		}
	}()
	t.Cleanup(func() {
		server.Stop()
		<-done
	})
	return a
}

// testID is the id that trackctl makes in tests.
var testID = uuid.MustParse("019cad6f-a0e0-7d33-b5f5-d520a5bbb89f")

// run runs trackctl against the listener at a fixed moment, in no environment but
// env.
func run(t *testing.T, address string, env map[string]string, args ...string) (code int, out, errOut string) {
	t.Helper()
	var o, e bytes.Buffer
	a := &app{
		in: strings.NewReader(""), err: &e,
		getenv: func(name string) string { return env[name] },
		now:    func() time.Time { return time.Date(2026, 3, 2, 7, 25, 0, 5e8, time.FixedZone("", 3600)) },
		newID:  func() (uuid.UUID, error) { return testID, nil },
	}
	if address != "" {
		args = append([]string{"--server", address}, args...)
	}
	code = a.run(context.Background(), args, &o)
	return code, o.String(), e.String()
}

// notFound is what a server says of a name that it does not know.
func notFound() error { return status.Error(codes.NotFound, "it is not known") }
