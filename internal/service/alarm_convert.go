package service

import (
	"context"

	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func alarmRuleFrom(_ *problems, m *pb.AlarmRule) ledger.AlarmRule {
	r := ledger.AlarmRule{
		Description:  m.GetDescription(),
		Grouping:     wire.Word[ledger.AlarmGrouping](m.GetGrouping()),
		Test:         wire.Word[ledger.AlarmTest](m.GetTest()),
		InControl:    m.GetInControlRate(),
		OutOfControl: m.GetOutOfControlRate(),
		RunLength:    m.GetRunLengthAttempts(),
		Alpha:        m.GetAlpha(),
		Beta:         m.GetBeta(),
		CountHistory: m.GetCountHistory(),
		Active:       m == nil || m.Active == nil || *m.Active,
	}
	for _, k := range m.GetIncidentKinds() {
		r.Kinds = append(r.Kinds, wire.Word[ledger.IncidentKind](k))
	}
	return r
}

func alarmRuleTo(r ledger.AlarmRule) *pb.AlarmRule {
	m := &pb.AlarmRule{
		Name:              wire.ResourceName("alarmRules", r.Code),
		Description:       r.Description,
		Grouping:          pb.AlarmGrouping(r.Grouping),
		Test:              pb.AlarmTest(r.Test),
		InControlRate:     r.InControl,
		OutOfControlRate:  r.OutOfControl,
		RunLengthAttempts: r.RunLength,
		Alpha:             r.Alpha,
		Beta:              r.Beta,
		CountHistory:      r.CountHistory,
		Active:            new(r.Active),
		Plan: &pb.AlarmPlan{
			GainPoints: r.Plan.Gain, DriftPoints: r.Plan.Drift, ThresholdPoints: r.Plan.Threshold, StartPoints: r.Plan.Start,
			RejectInterceptFailures: r.Plan.RejectIntercept, AcceptInterceptFailures: r.Plan.AcceptIntercept, SlopeFailuresPerAttempt: r.Plan.Slope,
			FalseAlarmAttempts: r.Plan.FalseAlarmAttempts, FoundAttempts: r.Plan.FoundAttempts, Summary: r.Plan.Summary,
		},
		Etag:       wire.EtagOf(r.Version),
		CreateTime: wire.Timestamp(r.CreateTime),
		UpdateTime: wire.Timestamp(r.UpdateTime),
	}
	for _, k := range r.Kinds {
		m.IncidentKinds = append(m.IncidentKinds, pb.IncidentKind(k))
	}
	return m
}

// nameAlarmCause gives the name of the record that set an alarm off: an incident
// nearly always, since a failure brings the points.
func nameAlarmCause(ctx context.Context, n *recordNames, r *ledger.Alarm, m *pb.Alarm) (err error) {
	m.Cause, err = n.name(ctx, r.Cause, []ledger.RecordKind{ledger.KindIncident, ledger.KindTightening})
	return err
}
