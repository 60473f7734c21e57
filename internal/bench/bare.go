package main

import (
	"context"
	"errors"
	"runtime"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
)

// bareServer answers each empty call once the plain driver has kept the rows of one record
// durably, those of all that wait in one commit. So it shows what the empty call and the
// insert cost when both are made, on the same processors and one after the other: measured
// apart, each has all processors to itself, and none has to be woken when the other is done.
type bareServer struct {
	health.Server // all but Check
	writer        *rawWriter
	queue         chan chan error
	// most is how many calls one commit may serve.
	most atomic.Int64
	// ended is closed when nothing is written any more.
	ended chan struct{}
}

// Check keeps one record, and answers.
func (b *bareServer) Check(ctx context.Context, _ *healthpb.HealthCheckRequest) (*healthpb.HealthCheckResponse, error) {
	done := make(chan error, 1)
	b.queue <- done
	select {
	case err := <-done:
		return &healthpb.HealthCheckResponse{Status: healthpb.HealthCheckResponse_SERVING}, err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// run commits what waits until the queue is closed. Like the store it lets others run
// before it looks for the last time: a larger group costs less than another commit.
func (b *bareServer) run(ctx context.Context) {
	defer close(b.ended)
	for first := range b.queue {
		group, yields := []chan error{first}, 0
	gather:
		for len(group) < int(b.most.Load()) {
			select {
			case next, open := <-b.queue:
				if !open {
					break gather
				}
				group = append(group, next)
			default:
				if yields == 2 {
					break gather
				}
				yields++
				runtime.Gosched()
			}
		}
		err := b.writer.commit(ctx, len(group), min(len(group), benchCrews))
		for _, done := range group {
			done <- err
		}
	}
}

// bareRunner runs the empty call that keeps a record.
func bareRunner(ctx context.Context, e engine) (r runner, end func(), err error) {
	w, closeWriter, err := e.rawWriter(ctx, "raw_bare", true)
	if err != nil {
		return r, nil, err
	}
	b := &bareServer{writer: w, queue: make(chan chan error, 512), ended: make(chan struct{})}
	go b.run(ctx)
	s := grpc.NewServer(grpc.WaitForHandlers(true))
	end = func() { s.Stop(); close(b.queue); <-b.ended; closeWriter() }
	healthpb.RegisterHealthServer(s, b)
	address, err := listen(s.Serve)
	if err != nil {
		end()
		return r, nil, err
	}
	r = emptyCalls("driver behind an empty call", address)
	calls := r.run
	r.run = func(ctx context.Context, span time.Duration, clients, each int) ([]time.Duration, time.Duration, error) {
		if each != 1 {
			return nil, 0, errors.New("it keeps one record a call")
		}
		b.most.Store(int64(clients))
		return calls(ctx, span, clients, each)
	}
	return r, end, nil
}
