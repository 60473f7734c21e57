package rpc_test

import (
	"context"
	"slices"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
	pb "jointledger/proto/jointledger/v1"
)

// book notes what it is told.
type book struct {
	mu    sync.Mutex
	calls []string
	open  int
}

func (b *book) Began(string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.open++
}

func (b *book) Ended(method string, code codes.Code, took time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.open--
	if took < 0 {
		method = "took less than nothing"
	}
	b.calls = append(b.calls, method+" "+code.String())
}

func TestEveryCallIsMeasuredByTheStatusThatTheClientGets(t *testing.T) {
	b := &book{}
	var fail error
	f := serveConfig(t, rpc.Config{Authenticate: rpc.EverybodyIsLocal, Observer: b}, func(context.Context, *pb.GetPersonRequest) (*pb.Person, error) {
		if fail == nil {
			return &pb.Person{}, nil
		}
		if status.Code(fail) == codes.Aborted {
			panic("out of " + "cheese")
		}
		return nil, fail
	}, func(context.Context) error { return nil })
	var want []string
	call := func(err error, code codes.Code) {
		t.Helper()
		fail = err
		if _, got := f.people.GetPerson(t.Context(), &pb.GetPersonRequest{}); status.Code(got) != code {
			t.Errorf("%v; expected %s", got, code)
		}
		want = append(want, pb.PersonService_GetPerson_FullMethodName+" "+code.String())
	}
	call(nil, codes.OK)
	call(ledger.NotFound("person", "people/x", ""), codes.NotFound)
	call(context.DeadlineExceeded, codes.Internal)
	call(status.Error(codes.Aborted, ""), codes.Internal)
	if err := f.upload(t.Context()); status.Code(err) != codes.Internal { // it ends without an answer
		t.Errorf("upload: %v", err)
	}
	want = append(want, pb.AttachmentService_UploadAttachment_FullMethodName+" OK")
	// What a client makes up is no name in the book.
	for _, method := range []string{"/jointledger.v1.PersonService/Sesame", "/a.B/C", "/jointledger.v2.PersonService/GetPerson"} {
		if err := f.conn.Invoke(t.Context(), method, &pb.GetPersonRequest{}, &pb.Person{}); err == nil {
			t.Errorf("%s was answered", method)
		}
	}
	want = append(want, "unknown Unimplemented", "unknown Unimplemented", "unknown FailedPrecondition")
	f.server.Stop(t.Context())
	b.mu.Lock()
	defer b.mu.Unlock()
	if !slices.Equal(b.calls, want) || b.open != 0 {
		t.Errorf("%d are under way, noted %q; expected %q", b.open, b.calls, want)
	}
}
