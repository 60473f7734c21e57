package rpc

import (
	"context"
	"fmt"
	"runtime/debug"
)

// recovery turns a panic into an internal error: one bad call must not take the
// server, and the records of others, down with it.
func recovery(s statuses) interceptor {
	return interceptor{"recovery", func(ctx context.Context, c call, next func(context.Context) error) (err error) {
		defer func() {
			if p := recover(); p != nil {
				err = s.of(ctx, c, fmt.Errorf("panic: %v\n%s", p, debug.Stack()))
			}
		}()
		return next(ctx)
	}}
}
