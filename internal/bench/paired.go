package main

import (
	"cmp"
	"context"
	"log/slog"
	"os"
	"slices"

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

// median sorts what it is of.
func median[T cmp.Ordered](v []T) T {
	slices.Sort(v)
	return v[len(v)/2]
}
