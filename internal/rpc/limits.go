package rpc

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

const (
	// maxRequestBytes is the largest request that is taken: a batch of 1,000
	// records with notes of full length is about 6 MiB.
	maxRequestBytes = 16 << 20
	// maxMessageBytes is what the transport reads at all. It lies above
	// maxRequestBytes so that a request a little too large is answered with the
	// reason and the limit, and not in the transport's own words.
	maxMessageBytes = 2 * maxRequestBytes
	// defaultDeadline is for clients that give none, so that no call waits for
	// ever.
	defaultDeadline = 60 * time.Second
	// streamDeadline is the same for our own streams: 20 MiB over a poor line take
	// their time, but a client that has stopped reading must not keep the database
	// in an old state for ever.
	streamDeadline = 10 * time.Minute
	// watchAlarms lasts as long as its client wants: nothing of the database is held
	// meanwhile, and a client that is gone is noticed by keepalive.
	watchAlarms = pb.AlarmService_WatchAlarms_FullMethodName
)

// ourServices begins the full names of the methods of the API.
const ourServices = "/jointledger."

// requestSize refuses a request that is too large.
func requestSize() interceptor {
	return interceptor{"request-size", func(ctx context.Context, c call, next func(context.Context) error) error {
		if !c.stream() {
			if err := CheckRequestSize(c.request); err != nil {
				return err
			}
		}
		return next(ctx)
	}}
}

// CheckRequestSize refuses a request that is too large. A method that takes a stream
// of batches asks for each.
func CheckRequestSize(m proto.Message) error {
	n := proto.Size(m)
	if n <= maxRequestBytes {
		return nil
	}
	return &ledger.Error{
		Kind: ledger.KindLimit, Reason: ledger.ReasonLimitExceeded,
		Message: fmt.Sprintf("the request has %d bytes; at most %d (16 MiB) are taken, send fewer members at a time", n, maxRequestBytes),
	}
}

// deadline gives a call without a deadline one, where the transport has not done so
// already (transport.go): a call may come by another way. Streams that watch the server's
// health, or ask what it can do, live as long as their clients want.
func deadline() interceptor {
	return interceptor{"deadline", func(ctx context.Context, c call, next func(context.Context) error) error {
		limit := defaultDeadline
		if c.stream() {
			limit = streamDeadline
		}
		_, given := ctx.Deadline()
		if given || c.method == watchAlarms || c.stream() && !strings.HasPrefix(c.method, ourServices) {
			return next(ctx)
		}
		ctx, cancel := context.WithTimeout(ctx, limit)
		defer cancel()
		return next(ctx)
	}}
}
