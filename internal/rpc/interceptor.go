package rpc

import (
	"cmp"
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"jointledger/internal/access"
)

// call is one call on its way in.
type call struct {
	// method is the full method name, `/package.Service/Method`.
	method string
	// request is nil for a stream.
	request proto.Message
}

func (c call) stream() bool { return c.request == nil }

// interceptor wraps unary calls and streams alike.
type interceptor struct {
	name string
	run  func(ctx context.Context, c call, next func(context.Context) error) error
}

func (i interceptor) unary(ctx context.Context, req any, info *grpc.UnaryServerInfo, handler grpc.UnaryHandler) (any, error) {
	var resp any
	message, _ := req.(proto.Message)
	err := i.run(ctx, call{info.FullMethod, message}, func(ctx context.Context) (err error) {
		resp, err = handler(ctx, req)
		return err
	})
	if err != nil {
		return nil, err
	}
	return resp, nil
}

func (i interceptor) stream(srv any, ss grpc.ServerStream, info *grpc.StreamServerInfo, handler grpc.StreamHandler) error {
	return i.run(ss.Context(), call{method: info.FullMethod}, func(ctx context.Context) error {
		return handler(srv, streamWithContext{ss, ctx})
	})
}

type streamWithContext struct {
	grpc.ServerStream
	ctx context.Context
}

// Context gives the context as the interceptors made it.
func (s streamWithContext) Context() context.Context { return s.ctx }

// interceptors gives all of them, the outermost first. Their order matters:
// everything after the request id can name it; the log sees the status that the
// client gets; the deadline stands outside error mapping, which asks whether it
// has passed; so does recovery, so that a panic there is caught as well;
// authentication stands inside error mapping, which makes its status; a client of
// another major is told so before it is asked who it is; the audit record hears of
// what authentication and all after it refuse; the quota is the principal's, whom
// authentication names, and bounds what is denied too.
func interceptors(c Config, known func(method string) bool, action func(method string) access.Action) []interceptor {
	statuses := statuses{log: c.Logger}
	return []interceptor{
		requestIDs(),
		accessLog(c.Logger),
		measurement(c.Observer, known),
		deadline(),
		recovery(statuses),
		errorMapping(statuses),
		apiVersion(known),
		audit(c.Audit, action),
		authentication(c.Authenticate, cmp.Or(c.AskAgain, standingEvery)),
		quota(c.Quota),
		authorisation(known, action),
		requestSize(),
		staleness(),
	}
}
