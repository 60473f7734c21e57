package rpc_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// download reads a server's stream to its end, upload sends a client's stream
// with nothing in it; both give the status.
func (f fixture) download(ctx context.Context) error {
	s, err := f.files.DownloadAttachment(ctx, &pb.DownloadAttachmentRequest{})
	if err != nil {
		return err
	}
	_, err = s.Recv()
	return err
}

func (f fixture) upload(ctx context.Context) error {
	s, err := f.files.UploadAttachment(ctx)
	if err != nil {
		return err
	}
	_, err = s.CloseAndRecv()
	return err
}

// Streams of both directions pass the interceptors that unary calls pass.
func TestStreamsPassTheSameInterceptors(t *testing.T) {
	var fail error
	var seen *access.Principal
	f := serveAll(t, "s3cret-token", answer(""), func(ctx context.Context) error {
		seen, _ = access.From(ctx)
		if fail == nil {
			panic("out of " + "cheese")
		}
		return fail
	})
	for name, call := range map[string]func(context.Context) error{"download": f.download, "upload": f.upload} {
		if err := call(t.Context()); status.Code(err) != codes.Unauthenticated || !strings.Contains(render(err), "reason jointledger/UNAUTHENTICATED") {
			t.Errorf("%s without the token: %s", name, render(err))
		}
		if seen != nil {
			t.Errorf("%s without the token: the handler ran", name)
		}
		ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer s3cret-token", "x-request-id", "stream-of-"+name)

		fail = fmt.Errorf("while sending: %w", ledger.NotFound("attachment", "attachments/ab", ""))
		if got, want := render(call(ctx)), "NotFound: attachment \"ab\" is not known\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Attachment attachments/ab"; got != want {
			t.Errorf("%s: %s; expected %s", name, got, want)
		}
		if seen != bearer {
			t.Errorf("%s: principal %+v", name, seen)
		}
		for _, fail = range []error{errors.New("disk sector 7"), nil} { // an error nobody classified, and a panic
			if got, want := render(call(ctx)), "Internal: internal error\nreason jointledger/INTERNAL\nrequest stream-of-"+name; got != want {
				t.Errorf("%s, %v: %s; expected %s", name, fail, got, want)
			}
		}
		for _, part := range []string{"disk sector 7", "out of cheese", "code=NotFound", "request_id=stream-of-" + name} {
			if !strings.Contains(f.log.String(), part) {
				t.Errorf("%s: %q is not in the log: %s", name, part, f.log)
			}
		}
		seen = nil
	}
}

func TestAStreamWithoutADeadlineGetsALongOne(t *testing.T) {
	var left time.Duration
	f := serveAll(t, "", answer(""), func(ctx context.Context) error {
		d, ok := ctx.Deadline()
		if !ok {
			return status.Error(codes.Internal, "no deadline")
		}
		left = time.Until(d)
		return status.Error(codes.OutOfRange, "seen")
	})
	for name, call := range map[string]func(context.Context) error{"download": f.download, "upload": f.upload} {
		if err := call(t.Context()); status.Code(err) != codes.OutOfRange || left > 10*time.Minute || left < 9*time.Minute {
			t.Errorf("%s: %v left, %v", name, left, err)
		}
		ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
		if err := call(ctx); status.Code(err) != codes.OutOfRange || left < 50*time.Minute {
			t.Errorf("%s, the client's own: %v left, %v", name, left, err)
		}
		cancel()
	}
}
