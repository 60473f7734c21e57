package rpc

import (
	"context"
	"log/slog"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/peer"
	"google.golang.org/grpc/status"
)

const healthService = "/grpc.health.v1.Health/"

// whoKey finds, in the context of a call, where to write who calls: the log's line is
// written outside authentication.
type whoKey struct{}

// accessLog writes one line a call: what the server is at fault for as errors,
// health checks only for debugging.
func accessLog(log *slog.Logger) interceptor {
	return interceptor{"access-log", func(ctx context.Context, c call, next func(context.Context) error) error {
		start := time.Now()
		who := new(string)
		err := next(context.WithValue(ctx, whoKey{}, who))
		code := status.Code(err)
		level := slog.LevelInfo
		switch {
		case code == codes.Internal, code == codes.Unknown, code == codes.DataLoss:
			level = slog.LevelError
		case code == codes.Unavailable:
			level = slog.LevelWarn
		case strings.HasPrefix(c.method, healthService):
			level = slog.LevelDebug
		}
		if !log.Enabled(ctx, level) {
			return err
		}
		from := ""
		if p, ok := peer.FromContext(ctx); ok {
			from = p.Addr.String()
		}
		log.LogAttrs(ctx, level, "call",
			slog.String("method", c.method), slog.String("code", code.String()),
			slog.Duration("took", time.Since(start)), slog.String("principal", *who), slog.String("peer", from),
			slog.String("request_id", requestID(ctx)))
		return err
	}}
}
