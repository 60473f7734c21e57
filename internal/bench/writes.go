package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"slices"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/protobuf/proto"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// The project's own marks of writing.
const (
	unaryMark = 0.5 // of what the slower of the two limits allows, at 64 clients
	batchMark = 0.5 // of the driver inserting the same rows
	delayMark = 1.5 // times one durable insert and one empty call
)

// runner is one of those that are compared: it runs for the span, from so many clients,
// with so many records a call, and gives how long each call took and all of it.
type runner struct {
	name string
	run  func(ctx context.Context, span time.Duration, clients, each int) ([]time.Duration, time.Duration, error)
	// records of one call, given how many clients there are and what each sends.
	records func(clients, each int) int
}

// laps are what a runner did in all rounds.
type laps struct {
	taken   []time.Duration
	elapsed time.Duration
	records int
	// speeds are the records a second of each round.
	speeds []float64
}

func (l *laps) figure(engine, what string) figure {
	f := summed(l.taken, l.elapsed, l.records)
	f.Engine, f.What = engine, what
	return f
}

// inTurns gives each runner its share of the span in every round, each time in another
// order, the same in all runs: what else the machine does then meets all of them, and what
// one leaves to be written out meets not always the same other.
func inTurns(ctx context.Context, runners []runner, span time.Duration, clients, each int) ([]laps, error) {
	done := make([]laps, len(runners))
	for round := range rounds {
		for _, i := range rand.New(rand.NewPCG(1, uint64(round))).Perm(len(runners)) {
			r := runners[i]
			taken, elapsed, err := r.run(ctx, span/rounds, clients, each)
			if err != nil {
				return nil, fmt.Errorf("%s: %w", r.name, err)
			}
			l := &done[i]
			l.records = r.records(clients, each)
			l.taken, l.elapsed = append(l.taken, taken...), l.elapsed+elapsed
			l.speeds = append(l.speeds, float64(len(taken)*l.records)/elapsed.Seconds())
		}
	}
	return done, nil
}

// medianRatio is the median over the rounds of one speed over the least of some others.
func medianRatio(of laps, others ...float64s) float64 {
	var ratios []float64
	for round, speed := range of.speeds {
		least := others[0][round]
		for _, o := range others {
			least = min(least, o[round])
		}
		ratios = append(ratios, speed/least)
	}
	return median(ratios)
}

type float64s = []float64

// faster takes of two runners what the better of them reached in each round.
func faster(a, b laps) float64s {
	best := slices.Clone(a.speeds)
	for i := range best {
		best[i] = max(best[i], b.speeds[i])
	}
	return best
}

// measureWrites measures acknowledged tightenings through the production server against
// the driver inserting the same rows, row by row and many together, and an empty call.
func measureWrites(ctx context.Context, e engine, span time.Duration) (figures []figure, err error) {
	c, err := e.database(ctx, "served")
	if err != nil {
		return nil, err
	}
	v, err := startServer(ctx, "served", c, false)
	if err != nil {
		return nil, err
	}
	defer v.stop(ctx)
	runners := []runner{v.runner()}
	for _, together := range []bool{false, true} {
		r, end, err := rawRunner(ctx, e, together)
		if err != nil {
			return nil, fmt.Errorf("plain driver: %w", err)
		}
		defer end()
		runners = append(runners, r)
	}
	empty, end, err := emptyRunner()
	if err != nil {
		return nil, err
	}
	defer end()
	bare, end, err := bareRunner(ctx, e)
	if err != nil {
		return nil, err
	}
	defer end()
	runners = append(runners, empty)
	unary := append(slices.Clone(runners), bare, v.storeRunner()) // they keep one record a call
	for _, m := range []struct {
		what          string
		clients, each int
	}{{"unary, 1 client", 1, 1}, {"unary, 8 clients", 8, 1}, {"unary, 64 clients", 64, 1}, {"batches of 100, 1 client", 1, 100}} {
		these := unary
		if m.each > 1 {
			these = runners
		}
		done, err := inTurns(ctx, these, span, m.clients, m.each)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", m.what, err)
		}
		figures = append(figures, writeFigures(e.name, m.what, m.clients, m.each, done)...)
	}
	report, err := v.store.Verify(ctx)
	if err == nil && !report.OK() {
		err = fmt.Errorf("the record does not verify after the load: %+v", report)
	}
	return figures, err
}

// writeFigures makes figures of the server, the driver in both forms, the empty call and,
// where a call is one record, the driver behind an empty call.
func writeFigures(engine, what string, clients, each int, done []laps) []figure {
	served, single, many, empty := done[0], done[1], done[2], done[3]
	of := served.figure(engine, what)
	driver := faster(single, many)
	driverName, emptyName := fmt.Sprintf("driver, %d a commit, the faster form", clients*each), fmt.Sprintf("empty call, %s", clientsOf(clients))
	figures := []figure{of, single.figure(engine, fmt.Sprintf("driver, %d a commit, row by row", clients*each))}
	if clients*each > 1 {
		figures = append(figures, many.figure(engine, fmt.Sprintf("driver, %d a commit, rows of a table together", clients*each)))
	}
	figures = append(figures, empty.figure("-", emptyName))
	of.P50Micros, of.P99Micros = 0, 0
	over := func(name string, limits ...float64s) {
		f := of
		f.What = what + ", of " + name
		m := (*mark)(nil)
		switch {
		case clients == 64 && len(limits) == 2:
			m = atLeast(unaryMark)
		case each > 1 && name == driverName:
			m = atLeast(batchMark)
		}
		ratio := medianRatio(served, limits...)
		figures = append(figures, f.against(name, f.PerSecond/ratio, ratio, m))
	}
	over(driverName, driver)
	if each == 1 {
		over(emptyName, empty.speeds)
		over("the slower of driver and empty call", driver, empty.speeds)
		bare := done[4].figure(engine, "driver behind an empty call, "+clientsOf(clients))
		figures = append(figures, bare)
		over("driver behind an empty call", done[4].speeds)
		figures = append(figures, done[5].figure(engine, storeName+", "+clientsOf(clients)))
		if clients == 1 {
			apart := min(figures[1].P50Micros, many.figure(engine, "").P50Micros) + empty.figure("", "").P50Micros
			figures = append(figures, delayFigures(engine, what, figures[0].P50Micros, apart, bare.P50Micros)...)
		}
	}
	return figures
}

// delayFigures hold the median of one client against that of one durable insert and one
// empty call, in both ways: each measured on its own and added up, and the two made one
// after the other, as a server makes them.
func delayFigures(engine, what string, p50, apart, together float64) []figure {
	f := func(how string) figure { return figure{Engine: engine, What: what + ", p50" + how, P50Micros: p50} }
	return []figure{
		f("").against("p50 of one durable insert and of one empty call", apart, p50/apart, atMost(delayMark)),
		f(", of both in one").against("p50 of one durable insert and one empty call, one after the other", together, p50/together, atMost(delayMark)),
	}
}

func clientsOf(n int) string {
	if n == 1 {
		return "1 client"
	}
	return fmt.Sprintf("%d clients", n)
}

// runner runs the load on a server.
func (v *server) runner() runner {
	return runner{v.name, func(ctx context.Context, span time.Duration, clients, each int) (all []time.Duration, long time.Duration, err error) {
		_, err = withClients(v.address, clients, func(conns []*grpc.ClientConn) (figure, error) {
			first := v.calls
			all, long, err = timed(ctx, span, clients, func(ctx context.Context, client, n int) error {
				return record(ctx, pb.NewAssemblyServiceClient(conns[client]), client*7919+first+n, each)
			})
			v.calls += len(all)/clients + 1
			return figure{}, err
		})
		return all, long, err
	}, func(_, each int) int { return each }}
}

const storeName = "store, without calls"

// storeRunner gives the store the same records as the server's clients do, from as many
// goroutines, without calls between: what the rules, the chain and the writer take beside
// the driver.
func (v *server) storeRunner() runner {
	return runner{storeName, func(ctx context.Context, span time.Duration, clients, each int) ([]time.Duration, time.Duration, error) {
		first := v.calls
		all, long, err := timed(ctx, span, clients, func(ctx context.Context, client, n int) error {
			r, problems := wire.RecordFrom(tightening(client*7919+first+n, client*7919+first+n))
			if err := problems.Invalid("tightening", r.Validate); err != nil {
				return err
			}
			outcomes, err := v.store.Record(ctx, []ledger.Record{r}, store.Change{})
			if err == nil && outcomes[0].State != store.Taken {
				err = fmt.Errorf("not taken: %+v", outcomes[0])
			}
			return err
		})
		v.calls += len(all)/clients + 1
		return all, long, err
	}, func(_, each int) int { return each }}
}

// rawWriter gives a writer over a database of its own with the fixture in it.
func (e engine) rawWriter(ctx context.Context, name string, together bool) (w *rawWriter, end func(), err error) {
	c, err := e.database(ctx, name)
	if err != nil {
		return nil, nil, err
	}
	if err := withStore(ctx, c, func(s *store.Store) error { return fixture(ctx, s) }); err != nil {
		return nil, nil, err
	}
	if w, err = newRawWriter(e.name, c, together); err != nil {
		return nil, nil, err
	}
	return w, func() { w.db.Close(); os.RemoveAll(c.DataDir) }, nil
}

// rawRunner runs the driver: one connection that commits at once what the clients of the
// server send at a time.
func rawRunner(ctx context.Context, e engine, together bool) (r runner, end func(), err error) {
	name := "raw_single"
	if together {
		name = "raw_together"
	}
	w, end, err := e.rawWriter(ctx, name, together)
	if err != nil {
		return r, nil, err
	}
	records := func(clients, each int) int { return clients * each }
	return runner{name, func(ctx context.Context, span time.Duration, clients, each int) ([]time.Duration, time.Duration, error) {
		return timed(ctx, span, 1, func(ctx context.Context, _, _ int) error {
			return w.commit(ctx, clients*each, min(clients, benchCrews))
		})
	}, records}, end, nil
}

// emptyRunner runs a call that does nothing.
func emptyRunner() (r runner, end func(), err error) {
	s := grpc.NewServer()
	healthpb.RegisterHealthServer(s, health.NewServer())
	address, err := listen(s.Serve)
	return emptyCalls("empty call", address), s.Stop, err
}

// emptyCalls runs calls without content, with as many connections as the server's clients
// have.
func emptyCalls(name, address string) runner {
	return runner{name, func(ctx context.Context, span time.Duration, clients, _ int) (all []time.Duration, long time.Duration, err error) {
		_, err = withClients(address, clients, func(conns []*grpc.ClientConn) (figure, error) {
			all, long, err = timed(ctx, span, clients, func(ctx context.Context, client, _ int) error {
				_, err := healthpb.NewHealthClient(conns[client]).Check(ctx, &healthpb.HealthCheckRequest{})
				return err
			})
			return figure{}, err
		})
		return all, long, err
	}, func(int, int) int { return 1 }}
}

// wireBytes is the size of a tightening as it is sent.
func wireBytes() float64 { return float64(proto.Size(tightening(1, 1))) }
