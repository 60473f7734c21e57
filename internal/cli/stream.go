package cli

import (
	"context"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// watchedStream ends a stream on which nothing moves for the timeout. A stream as a
// whole may take as long as it takes: a photo over a weak signal is slow, not dead.
type watchedStream struct {
	grpc.ClientStream
	timeout time.Duration
	timer   *time.Timer
	cancel  context.CancelFunc
	late    *atomic.Bool
	// single says that the server answers once, and the stream is then over.
	single bool
}

func newWatchedStream(ctx context.Context, timeout time.Duration, desc *grpc.StreamDesc, open func(context.Context) (grpc.ClientStream, error)) (grpc.ClientStream, error) {
	ctx, cancel := context.WithCancel(ctx)
	w := &watchedStream{timeout: timeout, cancel: cancel, late: &atomic.Bool{}, single: !desc.ServerStreams}
	w.timer = time.AfterFunc(timeout, func() {
		w.late.Store(true)
		cancel()
	})
	stream, err := open(ctx)
	if err != nil {
		w.end()
		return nil, w.cause(err)
	}
	w.ClientStream = stream
	return w, nil
}

func (w *watchedStream) end() {
	w.timer.Stop()
	w.cancel()
}

// cause tells a stream that was ended here from one that others ended.
func (w *watchedStream) cause(err error) error {
	if err != nil && w.late.Load() {
		return status.Error(codes.DeadlineExceeded, "nothing moved on the stream")
	}
	return err
}

// SendMsg sends a message; what it gives for a stream that is over already is for
// RecvMsg to explain.
func (w *watchedStream) SendMsg(m any) error {
	w.timer.Reset(w.timeout)
	return w.cause(w.ClientStream.SendMsg(m))
}

// RecvMsg receives a message.
func (w *watchedStream) RecvMsg(m any) error {
	w.timer.Reset(w.timeout)
	err := w.ClientStream.RecvMsg(m)
	if err != nil || w.single {
		w.end()
	}
	return w.cause(err)
}
