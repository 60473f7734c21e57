package service

import (
	"context"
	"slices"
	"time"

	"google.golang.org/grpc"

	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

const (
	// watchPoll is how often a watch looks for alarms that other servers on the
	// database raised; it is told of this server's own.
	watchPoll = time.Second
	// watchHeartbeat is the longest that a watch is silent.
	watchHeartbeat = 10 * time.Second
	// watchPage bounds what is read at a time, and with it what a client that
	// receives slowly keeps in memory.
	watchPage = 200

	maxWatchedRules = 100
	maxWatchedSites = 1000
)

// alarms are made by the server alone: nothing reads one from a message.
var alarms = record[*ledger.Alarm, *pb.Alarm]{
	kind: ledger.KindAlarm, collection: "alarms", members: "alarms", to: wire.AlarmTo, complete: nameAlarmCause,
}

// GetAlarm reads one alarm.
func (s alarmService) GetAlarm(ctx context.Context, r *pb.GetAlarmRequest) (*pb.Alarm, error) {
	return alarms.fetch(ctx, s.Services, r.Name)
}

// ListAlarms pages through alarms.
func (s alarmService) ListAlarms(ctx context.Context, r *pb.ListAlarmsRequest) (*pb.ListAlarmsResponse, error) {
	var p problems
	f := store.RecordFilter{
		AlarmRule: p.Reference("rule", "alarmRules", r.Rule),
		Place:     ledger.Place{Site: p.Site("site", r.Site)},
		Lot:       p.Reference("lot", "lots", r.Lot),
	}
	f.Start, f.End = p.Period(r.StartTime, r.EndTime)
	items, next, err := alarms.list(ctx, s.Services, r, p, f)
	return &pb.ListAlarmsResponse{Alarms: items, NextPageToken: next}, err
}

// watch is one client that watches alarms.
type watch struct {
	*Services
	stream grpc.ServerStreamingServer[pb.WatchAlarmsResponse]
	filter store.AlarmFilter
	// bound is what a resume token is good for: the request without where it begins.
	bound    *pb.WatchAlarmsRequest
	position store.AlarmPosition
	names    *recordNames
}

// WatchAlarms sends alarms as they are raised.
func (s alarmService) WatchAlarms(r *pb.WatchAlarmsRequest, stream grpc.ServerStreamingServer[pb.WatchAlarmsResponse]) error {
	ctx := stream.Context()
	w := &watch{Services: s.Services, stream: stream}
	if err := w.begin(ctx, r); err != nil {
		return err
	}
	return w.run(ctx)
}

// begin reads the request and finds where the watch begins.
func (w *watch) begin(ctx context.Context, r *pb.WatchAlarmsRequest) error {
	var p problems
	for _, name := range r.Rules {
		w.filter.Rules = append(w.filter.Rules, p.Required("rules", "alarmRules", name))
	}
	for _, name := range r.Sites {
		w.filter.Sites = append(w.filter.Sites, p.Site("sites", name))
	}
	if n := len(r.Rules); n > maxWatchedRules {
		p.Add("rules", "there are %d; expected at most %d", n, maxWatchedRules)
	}
	if n := len(r.Sites); n > maxWatchedSites {
		p.Add("sites", "there are %d; expected at most %d", n, maxWatchedSites)
	}
	if err := ledger.Invalid("request", p); err != nil {
		return err
	}
	for _, list := range []*[]string{&w.filter.Rules, &w.filter.Sites} {
		slices.Sort(*list)
		*list = slices.Compact(*list)
	}
	w.bound = &pb.WatchAlarmsRequest{Rules: w.filter.Rules, Sites: w.filter.Sites}
	after, err := rpc.PageAfter(w.bound, r.ResumeToken)
	if err == nil {
		w.position, err = store.ParseAlarmPosition(after)
	}
	if err != nil {
		return &ledger.Error{
			Kind: ledger.KindInvalid, Reason: ledger.ReasonPageTokenInvalid,
			Message: "the resume token is not one that this server made for these rules and sites; begin without one",
			Fields:  []ledger.FieldError{{Field: "resume_token", Description: "is damaged, or belongs to a watch of other rules or sites"}},
		}
	}
	if r.OnlyNew && r.ResumeToken == "" {
		w.position, err = w.store.AlarmsSoFar(ctx)
	}
	return err
}

func (w *watch) run(ctx context.Context) error {
	poll, beat := time.NewTicker(watchPoll), time.NewTicker(watchHeartbeat)
	defer poll.Stop()
	defer beat.Stop()
	// The first message tells the client that the watch goes on from here.
	silent := true
	for {
		news := w.store.AlarmNews() // asked for first: what is raised meanwhile is told
		more, err := w.send(ctx)
		if err != nil {
			return err
		}
		if silent && !more {
			if err := w.stream.Send(&pb.WatchAlarmsResponse{ResumeToken: w.token()}); err != nil {
				return err
			}
			silent = false
		}
		if more {
			beat.Reset(watchHeartbeat)
			continue
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-w.ending:
			return errEnding()
		case <-news:
		case <-poll.C:
		case <-beat.C:
			silent = true
		}
	}
}

// send sends the next alarms; more says that there were any. No transaction is open
// while they are sent.
func (w *watch) send(ctx context.Context) (more bool, err error) {
	found, err := w.store.AlarmsAfter(ctx, w.filter, w.position, watchPage)
	if err != nil {
		return false, err
	}
	w.names = namesFrom(w.store)
	for _, a := range found {
		select {
		case <-w.ending:
			return false, errEnding()
		default:
		}
		m, err := alarms.message(ctx, w.names, a.Alarm)
		if err != nil {
			return false, err
		}
		w.position[a.SiteKey] = a.Sequence
		if err := w.stream.Send(&pb.WatchAlarmsResponse{Alarm: m, ResumeToken: w.token()}); err != nil {
			return false, err
		}
	}
	return len(found) > 0, nil
}

func (w *watch) token() string { return rpc.PageToken(w.bound, w.position.String()) }

func errEnding() error {
	return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
		Message: "the server is shutting down; go on with the last resume token when it is back"}
}
