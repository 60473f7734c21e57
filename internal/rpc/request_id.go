package rpc

import (
	"context"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
)

// requestIDKey is the header in which a client may send its own id of a call,
// and in which every answer carries the id that finds it in the server's log.
const requestIDKey = "x-request-id"

// requestIDs takes the client's id, or makes one. From here on it stands in the
// call's incoming metadata.
func requestIDs() interceptor {
	return interceptor{"request-id", func(ctx context.Context, _ call, next func(context.Context) error) error {
		id := requestID(ctx)
		if !usableID(id) {
			id = uuid.Must(uuid.NewV7()).String()
		}
		md, _ := metadata.FromIncomingContext(ctx)
		md = metadata.Join(md) // a copy, and never nil
		md.Set(requestIDKey, id)
		// It fails only when the header was sent already: not before the handler.
		_ = grpc.SetHeader(ctx, metadata.Pairs(requestIDKey, id))
		return next(metadata.NewIncomingContext(ctx, md))
	}}
}

// requestID is the id of the call; empty when it has none.
func requestID(ctx context.Context) string {
	if v := metadata.ValueFromIncomingContext(ctx, requestIDKey); len(v) > 0 {
		return v[0]
	}
	return ""
}

// usableID keeps what would break a log line, or fill it, out of the log.
func usableID(id string) bool {
	for i := range len(id) {
		if id[i] <= ' ' || id[i] > '~' {
			return false
		}
	}
	return id != "" && len(id) <= 64
}
