package main

import (
	"context"
	"errors"
	"net"
	"runtime"
	"sync/atomic"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
)

// bareServer answers each empty call once the plain driver has kept the rows of one record
// durably, those of all that wait in one commit. It is the limit of any server that takes
// one record a call: the empty call and the insert as they cost when both are made, on the
// same processors and one after the other. Measured apart, each has all processors to
// itself, and neither finds them asleep because the other waited for the disk.
type bareServer struct {
	health.Server // all but Check
	writer        *rawWriter
	queue         chan chan error
	// each is how many calls one commit may serve.
	each atomic.Int64
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
	for first := range b.queue {
		group, yields := []chan error{first}, 0
		for len(group) < int(b.each.Load()) {
			select {
			case next := <-b.queue:
				group = append(group, next)
				continue
			default:
			}
			if yields == 2 {
				break
			}
			yields++
			runtime.Gosched()
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
	b := &bareServer{writer: w, queue: make(chan chan error, 512)}
	go b.run(ctx)
	s := grpc.NewServer()
	healthpb.RegisterHealthServer(s, b)
	address, err := listen(func(l net.Listener) error { return s.Serve(l) })
	r = emptyCalls("driver behind an empty call", address)
	calls := r.run
	r.run = func(ctx context.Context, span time.Duration, clients, each int) ([]time.Duration, time.Duration, error) {
		if each != 1 {
			return nil, 0, errors.New("it keeps one record a call")
		}
		b.each.Store(int64(clients))
		return calls(ctx, span, clients, each)
	}
	return r, func() { s.Stop(); close(b.queue); closeWriter() }, err
}
