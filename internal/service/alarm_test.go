package service_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	pb "jointledger/proto/jointledger/v1"
)

func gallRule() *pb.AlarmRule {
	return &pb.AlarmRule{Description: "galling of a lot", Grouping: pb.AlarmGrouping_ALARM_GROUPING_LOT,
		IncidentKinds: []pb.IncidentKind{pb.IncidentKind_INCIDENT_KIND_GALLING}, InControlRate: 0.02, OutOfControlRate: 0.2, RunLengthAttempts: 200}
}

// raise galls until the rules have raised alarms.
func raise(t *testing.T, c clients, fasteners int32) {
	t.Helper()
	taken(t, must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(t.Context(), &pb.RecordIncidentsRequest{
		Incidents: []*pb.Incident{galling("2026-03-02T10:00:00Z", fasteners)}})).Outcomes)
	if _, err := c.store.AdvanceAlarms(t.Context()); err != nil {
		t.Fatal(err)
	}
}

func TestAlarmRules(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		plan := must[*pb.AlarmRule](t)(c.alarms.CreateAlarmRule(ctx, &pb.CreateAlarmRuleRequest{AlarmRuleId: "GALL", AlarmRule: gallRule(), ValidateOnly: true}))
		if plan.Plan.ThresholdPoints == 0 || plan.Plan.FalseAlarmAttempts < 200 || !strings.HasPrefix(plan.Plan.Summary, "One false alarm in about ") || plan.Etag != "" {
			t.Errorf("only validated: %v", plan)
		}
		if _, err := c.alarms.GetAlarmRule(ctx, &pb.GetAlarmRuleRequest{Name: "alarmRules/GALL"}); status.Code(err) != codes.NotFound {
			t.Errorf("it was kept: %v", err)
		}
		kept := must[*pb.AlarmRule](t)(c.alarms.CreateAlarmRule(ctx, &pb.CreateAlarmRuleRequest{AlarmRuleId: "GALL", AlarmRule: gallRule()}))
		if again := must[*pb.AlarmRule](t)(c.alarms.CreateAlarmRule(ctx, &pb.CreateAlarmRuleRequest{AlarmRuleId: "GALL", AlarmRule: gallRule()})); again.Etag != kept.Etag || !kept.GetActive() || kept.Test != pb.AlarmTest_ALARM_TEST_CUSUM {
			t.Errorf("%v, then %v", kept, again)
		}
		open := &pb.AlarmRule{Grouping: pb.AlarmGrouping_ALARM_GROUPING_SITE, InControlRate: 0.01, Test: pb.AlarmTest_ALARM_TEST_SPRT}
		trial := must[*pb.AlarmRule](t)(c.alarms.CreateAlarmRule(ctx, &pb.CreateAlarmRuleRequest{AlarmRuleId: "TRIAL", AlarmRule: open}))
		if len(trial.IncidentKinds) != 6 || trial.OutOfControlRate != 0.02 || trial.Alpha != 0.05 || trial.Beta != 0.1 || trial.Plan.SlopeFailuresPerAttempt == 0 || trial.RunLengthAttempts != 0 {
			t.Errorf("what was left open: %v", trial)
		}
		stopped := must[*pb.AlarmRule](t)(c.alarms.UpdateAlarmRule(ctx, &pb.UpdateAlarmRuleRequest{
			AlarmRule: &pb.AlarmRule{Name: "alarmRules/GALL", Active: new(bool), Etag: kept.Etag}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"active"}}}))
		if stopped.GetActive() || stopped.Description != "galling of a lot" || stopped.Etag == kept.Etag {
			t.Errorf("%v", stopped)
		}
		list := must[*pb.ListAlarmRulesResponse](t)(c.alarms.ListAlarmRules(ctx, &pb.ListAlarmRulesRequest{OnlyActive: true}))
		if len(list.AlarmRules) != 1 || list.AlarmRules[0].Name != "alarmRules/TRIAL" {
			t.Errorf("%v", list)
		}
	})
}

func TestAlarmRulesThatAreRefused(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	create := func(change func(*pb.AlarmRule)) error {
		r := gallRule()
		change(r)
		_, err := c.alarms.CreateAlarmRule(ctx, &pb.CreateAlarmRuleRequest{AlarmRuleId: "GALL", AlarmRule: r})
		return err
	}
	if err := create(func(*pb.AlarmRule) {}); err != nil {
		t.Fatal(render(err))
	}
	update := func(r *pb.AlarmRule, path string) error {
		r.Name = "alarmRules/GALL"
		_, err := c.alarms.UpdateAlarmRule(ctx, &pb.UpdateAlarmRuleRequest{AlarmRule: r, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{path}}})
		return err
	}
	const invalid = "InvalidArgument: alarm rule is not valid\nreason jointledger/INVALID_FIELD\n"
	for _, tc := range []struct {
		what string
		err  error
		want string
	}{
		{"no grouping", create(func(r *pb.AlarmRule) { r.Grouping = 0 }), invalid + "field grouping: is required; expected one of lot, site"},
		{"no rate", create(func(r *pb.AlarmRule) { r.InControlRate = 0 }),
			invalid + "field in_control_rate: 0 is out of range; expected failures per attempt, above 0 and below 1"},
		{"a leak", create(func(r *pb.AlarmRule) { r.IncidentKinds[0] = pb.IncidentKind_INCIDENT_KIND_LEAK }),
			invalid + `field incident_kinds: "leak" is no thread failure, so that there are no attempts to hold it against; expected some of galling, seized, stripped-tapping-screw, stripped-thread, crossed-thread, broken-fastener`},
		{"risks of a cusum", create(func(r *pb.AlarmRule) { r.Beta = 0.1 }), invalid + "field alpha: alpha and beta are for a sprt; a cusum goes by run_length_attempts"},
		{"rates too near", create(func(r *pb.AlarmRule) { r.OutOfControlRate = 0.0201 }), "field out_of_control_rate: "},
		{"other content", create(func(r *pb.AlarmRule) { r.InControlRate = 0.01 }),
			"AlreadyExists: alarm rule \"GALL\" is already registered with other content; update it instead\nreason jointledger/RESOURCE_EXISTS\nresource jointledger/AlarmRule alarmRules/GALL"},
		{"another rate", update(&pb.AlarmRule{InControlRate: 0.3}, "in_control_rate"), `field update_mask: "in_control_rate" can't be changed`},
		{"an old etag", update(&pb.AlarmRule{Etag: "djk"}, "active"), "ETAG_MISMATCH"},
	} {
		if tc.err == nil || !strings.Contains(render(tc.err), tc.want) {
			t.Errorf("%s: %s\nexpected %s", tc.what, render(tc.err), tc.want)
		}
	}
}

// watched receives until the watch is silent, and gives the alarms and the token.
func watched(t *testing.T, stream pb.AlarmService_WatchAlarmsClient) (alarms []*pb.Alarm, token string) {
	t.Helper()
	for {
		m, err := stream.Recv()
		if err != nil {
			t.Fatal(render(err))
		}
		token = m.ResumeToken
		if m.Alarm == nil {
			return alarms, token
		}
		alarms = append(alarms, m.Alarm)
	}
}

func alarmNames(alarms []*pb.Alarm) (names []string) {
	for _, a := range alarms {
		names = append(names, a.Name)
	}
	return names
}

func TestAlarmsAreWatched(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		readyToWork(t, c)
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		site := gallRule()
		site.Grouping = pb.AlarmGrouping_ALARM_GROUPING_SITE
		must[*pb.AlarmRule](t)(c.alarms.CreateAlarmRule(ctx, &pb.CreateAlarmRuleRequest{AlarmRuleId: "LOT", AlarmRule: gallRule()}))
		must[*pb.AlarmRule](t)(c.alarms.CreateAlarmRule(ctx, &pb.CreateAlarmRuleRequest{AlarmRuleId: "SITE", AlarmRule: site}))
		raise(t, c, 6)
		first := must[pb.AlarmService_WatchAlarmsClient](t)(c.alarms.WatchAlarms(ctx, &pb.WatchAlarmsRequest{}))
		early, token := watched(t, first)
		if len(early) != 2 || early[0].Cause == "" || early[0].Lot != "lots/M10-S-1" || early[1].Lot != "" || early[1].Site != "sites/HAR" || token == "" {
			t.Fatalf("%v, token %q", early, token)
		}
		if got := must[*pb.Alarm](t)(c.alarms.GetAlarm(ctx, &pb.GetAlarmRequest{Name: early[0].Name})); got.Sentence != early[0].Sentence || got.Cause != early[0].Cause {
			t.Errorf("%v; watched %v", got, early[0])
		}
		fresh := must[pb.AlarmService_WatchAlarmsClient](t)(c.alarms.WatchAlarms(ctx, &pb.WatchAlarmsRequest{OnlyNew: true, Rules: []string{"alarmRules/SITE"}}))
		if none, _ := watched(t, fresh); len(none) != 0 {
			t.Errorf("not new: %v", none)
		}
		raise(t, c, 6)
		pushed := must[*pb.WatchAlarmsResponse](t)(first.Recv())
		if pushed.Alarm == nil || slices.Contains(alarmNames(early), pushed.Alarm.Name) {
			t.Errorf("pushed %v", pushed)
		}
		if only := must[*pb.WatchAlarmsResponse](t)(fresh.Recv()); only.GetAlarm().GetRule() != "alarmRules/SITE" {
			t.Errorf("filtered %v", only)
		}
		late, _ := watched(t, must[pb.AlarmService_WatchAlarmsClient](t)(c.alarms.WatchAlarms(ctx, &pb.WatchAlarmsRequest{ResumeToken: token})))
		all := must[*pb.ListAlarmsResponse](t)(c.alarms.ListAlarms(ctx, &pb.ListAlarmsRequest{})).Alarms
		if len(all) != 4 || !slices.Equal(alarmNames(append(early, late...)), alarmNames(all)) {
			t.Errorf("early %v, late %v; listed %v", alarmNames(early), alarmNames(late), alarmNames(all))
		}
		if some := must[*pb.ListAlarmsResponse](t)(c.alarms.ListAlarms(ctx, &pb.ListAlarmsRequest{Rule: "alarmRules/LOT", Lot: "lots/M10-S-1", Site: "sites/HAR"})).Alarms; len(some) != 2 {
			t.Errorf("of the rule and lot: %v", some)
		}
		if where := must[*pb.FindLotResponse](t)(c.progress.FindLot(ctx, &pb.FindLotRequest{Lot: "lots/M10-S-1"})); len(where.Alarms) != 2 {
			t.Errorf("whereabouts: %v", where.Alarms)
		}
		for want, r := range map[string]*pb.WatchAlarmsRequest{
			"PAGE_TOKEN_INVALID\nfield resume_token: is damaged, or belongs to a watch of other rules or sites": {ResumeToken: token, Rules: []string{"alarmRules/LOT"}},
			"NotFound: alarm rule \"LOTS\" is not known; the nearest known is \"LOT\"":                          {Rules: []string{"alarmRules/LOTS"}},
			`field sites: "HAR" is not such a name; expected sites/{site}`:                                      {Sites: []string{"HAR"}},
		} {
			if _, err := must[pb.AlarmService_WatchAlarmsClient](t)(c.alarms.WatchAlarms(ctx, r)).Recv(); !strings.Contains(render(err), want) {
				t.Errorf("%s\nexpected %s", render(err), want)
			}
		}
		c.end()
		for err := error(nil); ; {
			if _, err = first.Recv(); err == nil {
				continue
			}
			if got := render(err); !strings.HasPrefix(got, "Unavailable: the server is shutting down") || !strings.Contains(got, "STORE_UNAVAILABLE") {
				t.Error(got)
			}
			return
		}
	})
}
