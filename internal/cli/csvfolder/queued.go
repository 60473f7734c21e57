package csvfolder

import (
	"context"

	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/stats"

	pb "jointledger/proto/jointledger/v1"
)

// queuedKey is what a call's context holds the function under that hears of it.
type queuedKey struct{}

// whenQueued asks the server to say when a call's records are in its queue, and calls f
// then. An older server says nothing before it answers, and neither does a connection
// without a QueueWatch.
func whenQueued(ctx context.Context, f func()) context.Context {
	return context.WithValue(metadata.AppendToOutgoingContext(ctx, pb.QueuedHeader, "tell"), queuedKey{}, f)
}

// QueueWatch hears on a connection of what servers say before they answer. What it is for
// see sending.keepOrder.
type QueueWatch struct{}

// TagRPC is of no use here.
func (QueueWatch) TagRPC(ctx context.Context, _ *stats.RPCTagInfo) context.Context { return ctx }

// HandleRPC hears the header of an answer.
func (QueueWatch) HandleRPC(ctx context.Context, s stats.RPCStats) {
	header, ok := s.(*stats.InHeader)
	if !ok || len(header.Header.Get(pb.QueuedHeader)) == 0 {
		return
	}
	if f, ok := ctx.Value(queuedKey{}).(func()); ok {
		f()
	}
}

// TagConn is of no use here.
func (QueueWatch) TagConn(ctx context.Context, _ *stats.ConnTagInfo) context.Context { return ctx }

// HandleConn is of no use here.
func (QueueWatch) HandleConn(context.Context, stats.ConnStats) {}
