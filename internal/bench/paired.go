package main

import (
	"context"
	"fmt"
	"log/slog"
	"os"
	"slices"
	"time"

	"google.golang.org/grpc"

	"jointledger/internal/rpc"
	"jointledger/internal/service"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// rounds is how many times the servers that are compared take turns: what else the
// machine does then meets all of them, and the median of the rounds' ratios stands.
const rounds = 9

// server is one server under load.
type server struct {
	name    string
	store   *store.Store
	rpc     *rpc.Server
	address string
	folder  string
	// calls goes on from round to round, so that no joint gets all the records.
	calls int
}

// pairedFigure is what the server reaches, and what it reaches with one thing more
// or less.
type pairedFigure struct {
	figure
	overUnjudged float64
	alarmed      figure
	alarmedOver  float64
}

func startServer(ctx context.Context, name string, c store.Config, alarmRule bool) (*server, error) {
	s, err := store.Open(ctx, c)
	if err != nil {
		return nil, err
	}
	if err := fixture(ctx, s); err != nil {
		s.Close()
		return nil, err
	}
	v := &server{name: name, store: s, folder: c.DataDir}
	if v.rpc, err = newServer(s); err != nil {
		s.Close()
		return nil, err
	}
	if v.address, err = listen(v.rpc.Serve); err == nil && alarmRule {
		_, err = withClients(v.address, 1, func(conns []*grpc.ClientConn) (figure, error) {
			_, err := pb.NewAlarmServiceClient(conns[0]).CreateAlarmRule(ctx, &pb.CreateAlarmRuleRequest{AlarmRuleId: "BENCH",
				AlarmRule: &pb.AlarmRule{Grouping: pb.AlarmGrouping_ALARM_GROUPING_LOT, InControlRate: 0.01}})
			return figure{}, err
		})
		s.RunAlarms()
	}
	if err != nil {
		v.stop(ctx)
		return nil, err
	}
	return v, nil
}

// newServer serves a store to everybody, without a log.
func newServer(s *store.Store) (*rpc.Server, error) {
	return rpc.NewServer(rpc.Config{Authenticate: rpc.EverybodyIsLocal, Logger: slog.New(slog.DiscardHandler), Register: service.New(s, nil).Register})
}

func (v *server) stop(ctx context.Context) {
	v.rpc.Stop(ctx)
	v.store.Close()
	if v.folder != "" {
		os.RemoveAll(v.folder)
	}
}

// servedWrites measures acknowledged tightenings through the production server: one
// a call from 1 and from 64 clients, and 100 a call; with the rules, without them,
// and with an alarm rule besides.
func servedWrites(ctx context.Context, engine string, config func(string) (store.Config, error), span time.Duration) ([]pairedFigure, error) {
	var servers []*server
	for _, name := range []string{"served", "unjudged", "alarmed"} {
		c, err := config(name)
		if err != nil {
			return nil, err
		}
		c.Unjudged = name == "unjudged"
		v, err := startServer(ctx, name, c, name == "alarmed")
		if err != nil {
			return nil, err
		}
		defer v.stop(ctx)
		servers = append(servers, v)
	}
	var figures []pairedFigure
	for _, m := range []struct {
		what          string
		clients, each int
	}{{"unary, 1 client", 1, 1}, {"unary, 64 clients", 64, 1}, {"batches of 100, 1 client", 1, 100}} {
		f, err := inTurns(ctx, servers, span, m.clients, m.each)
		if err != nil {
			return nil, err
		}
		f.Engine, f.What = engine, m.what
		f.alarmed.Engine, f.alarmed.What = engine, m.what+", alarm rule"
		figures = append(figures, f)
	}
	for _, v := range servers {
		report, err := v.store.Verify(ctx)
		if err != nil {
			return nil, err
		}
		if !report.OK() {
			return nil, fmt.Errorf("the record of %s does not verify after the load: %+v", v.name, report)
		}
	}
	return figures, nil
}

// inTurns gives each server its share of the span in every round, each time in
// another order.
func inTurns(ctx context.Context, servers []*server, span time.Duration, clients, each int) (pairedFigure, error) {
	taken := make([][]time.Duration, len(servers))
	elapsed := make([]time.Duration, len(servers))
	var unjudged, alarmed []float64
	for round := range rounds {
		speed := make([]float64, len(servers))
		for turn := range servers {
			i := (round + turn) % len(servers)
			v := servers[i]
			_, err := withClients(v.address, clients, func(conns []*grpc.ClientConn) (figure, error) {
				first := v.calls
				all, long, err := timed(ctx, span/rounds, clients, func(ctx context.Context, client, n int) error {
					return record(ctx, pb.NewAssemblyServiceClient(conns[client]), client*7919+first+n, each)
				})
				v.calls += len(all)/clients + 1
				taken[i], elapsed[i] = append(taken[i], all...), elapsed[i]+long
				speed[i] = float64(len(all)) / long.Seconds()
				return figure{}, err
			})
			if err != nil {
				return pairedFigure{}, fmt.Errorf("%s: %w", v.name, err)
			}
		}
		unjudged, alarmed = append(unjudged, speed[0]/speed[1]), append(alarmed, speed[2]/speed[0])
	}
	return pairedFigure{
		figure: summed(taken[0], elapsed[0], each), overUnjudged: median(unjudged),
		alarmed: summed(taken[2], elapsed[2], each), alarmedOver: median(alarmed),
	}, nil
}

func median(v []float64) float64 {
	slices.Sort(v)
	return v[len(v)/2]
}
