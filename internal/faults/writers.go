package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"

	pb "jointledger/proto/jointledger/v1"
)

// load is clients that write at once, each with records of its own, to servers at fixed
// addresses.
type load struct {
	answers *answers
	// patience is how long a call may take.
	patience time.Duration
	writers  []*writer
	stop     context.CancelFunc
	group    sync.WaitGroup
}

// writer is one of them, with a connection of its own to each server.
type writer struct {
	load  *load
	draw  *rand.Rand
	conns []*grpc.ClientConn
	// waiting are calls of which it does not know what became, oldest first.
	waiting []*call
	// own are tightenings of its own that are kept, with which it does more.
	own []string
}

// mostWaiting is how much a writer has open before it makes nothing new.
const mostWaiting = 10

// dial opens a connection that finds a server which was started again quickly.
func dial(address string, token string) (*grpc.ClientConn, error) {
	options := []grpc.DialOption{
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithConnectParams(grpc.ConnectParams{Backoff: backoff.Config{BaseDelay: 10 * time.Millisecond, Multiplier: 1.5, Jitter: 0.3, MaxDelay: 100 * time.Millisecond}, MinConnectTimeout: time.Second}),
		grpc.WithIdleTimeout(0),
	}
	if token != "" {
		options = append(options, grpc.WithPerRPCCredentials(bearer(token)))
	}
	return grpc.NewClient("passthrough:///"+address, options...)
}

// bearer is a token that goes with each call.
type bearer string

func (b bearer) GetRequestMetadata(context.Context, ...string) (map[string]string, error) {
	return map[string]string{"authorization": "Bearer " + string(b)}, nil
}

func (bearer) RequireTransportSecurity() bool { return false }

// newLoad makes so many writers; part tells their random numbers from those of others.
func (g *rig) newLoad(writers int, part uint64, callPatience time.Duration, token string, addresses ...string) (*load, error) {
	l := &load{answers: newAnswers(), patience: callPatience, stop: func() {}}
	for i := range writers {
		w := &writer{load: l, draw: rand.New(rand.NewPCG(g.seed^uint64(i+1)<<32, part))}
		l.writers = append(l.writers, w)
		for _, a := range addresses {
			conn, err := dial(a, token)
			if err != nil {
				l.close()
				return nil, err
			}
			w.conns = append(w.conns, conn)
		}
	}
	return l, nil
}

func (l *load) close() {
	l.halt()
	for _, w := range l.writers {
		for _, c := range w.conns {
			_ = c.Close() // nobody asks it anything more
		}
	}
}

// run has them write until halt.
func (l *load) run() {
	ctx, stop := context.WithCancel(context.Background())
	l.stop = stop
	for _, w := range l.writers {
		l.group.Go(func() {
			for ctx.Err() == nil {
				w.step()
			}
		})
	}
}

func (l *load) halt() {
	l.stop()
	l.group.Wait()
}

// settle sends everything again of which the writers do not know what became, until they
// do. Errors: when that does not end.
func (l *load) settle() error {
	deadline := time.Now().Add(2 * patience)
	var group sync.WaitGroup
	for _, w := range l.writers {
		group.Go(func() {
			for len(w.waiting) > 0 && time.Now().Before(deadline) {
				w.again()
			}
		})
	}
	group.Wait()
	open := 0
	for _, w := range l.writers {
		open += len(w.waiting)
	}
	if open > 0 {
		return fmt.Errorf("%d calls were not answered within %s, with the server up", open, 2*patience)
	}
	return nil
}

func (w *writer) step() {
	if n := len(w.waiting); n >= mostWaiting || n > 0 && w.draw.IntN(3) == 0 {
		w.again()
		return
	}
	w.ask(w.next())
}

// again sends one of those that wait.
func (w *writer) again() {
	c := w.waiting[0]
	w.waiting = w.waiting[1:]
	w.ask(c)
}

// next draws what is asked for.
func (w *writer) next() *call {
	kind := w.draw.IntN(100)
	if len(w.own) == 0 && kind >= 80 {
		kind = 0
	}
	switch {
	case kind < 50:
		return &call{tightenings: []*pb.Tightening{newTightening(w.draw)}}
	case kind < 65:
		c := &call{}
		for range 2 + w.draw.IntN(14) {
			c.tightenings = append(c.tightenings, newTightening(w.draw))
		}
		return c
	case kind < 80:
		return &call{incident: newIncident(w.draw)}
	}
	i := w.draw.IntN(len(w.own))
	of := w.own[i]
	if kind < 90 {
		return &call{file: newFile(w.draw, of)}
	}
	// A record is corrected once.
	w.own[i] = w.own[len(w.own)-1]
	w.own = w.own[:len(w.own)-1]
	return &call{correction: newCorrection(w.draw, of)}
}

// ask makes a call to one of the servers.
func (w *writer) ask(c *call) {
	ctx, cancel := context.WithTimeout(context.Background(), w.load.patience)
	outcomes, err := c.send(ctx, w.conns[w.draw.IntN(len(w.conns))])
	cancel()
	if status.Code(err) != codes.OK {
		if w.load.answers.fail(c, err) {
			w.waiting = append(w.waiting, c)
		}
		time.Sleep(between(w.draw, 5*time.Millisecond, 25*time.Millisecond))
		return
	}
	w.load.answers.take(c, outcomes)
	if len(c.tightenings) > 0 {
		if w.own = append(w.own, c.tightenings[0].Name); len(w.own) > 50 {
			w.own = w.own[1:]
		}
	}
}
