package rpc

import (
	"context"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
)

// Observer is told of every call, to measure it. Its methods must be quick and safe for
// concurrent use. The method is one that the server has, or "unknown": what clients
// make up must not become names in somebody's books.
type Observer interface {
	Began(method string)
	Ended(method string, code codes.Code, took time.Duration)
}

// unknownMethod stands for every method that is not there.
const unknownMethod = "unknown"

// measurement stands where it sees the status that the client gets.
func measurement(o Observer, known func(method string) bool) interceptor {
	return interceptor{"measurement", func(ctx context.Context, c call, next func(context.Context) error) error {
		if o == nil {
			return next(ctx)
		}
		method := c.method
		if !known(method) {
			method = unknownMethod
		}
		begun := time.Now()
		o.Began(method)
		var err error
		code := codes.Internal // also where next panics
		defer func() { o.Ended(method, code, time.Since(begun)) }()
		err = next(ctx)
		code = status.Code(err)
		return err
	}}
}

// methods are the full names of a server's methods, and whether each is a stream.
func methods(s *grpc.Server) map[string]bool {
	all := map[string]bool{}
	for service, info := range s.GetServiceInfo() {
		for _, m := range info.Methods {
			all["/"+service+"/"+m.Name] = m.IsClientStream || m.IsServerStream
		}
	}
	return all
}
