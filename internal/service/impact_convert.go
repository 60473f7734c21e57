package service

import (
	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func impactTo(i store.ToolImpact, q analysis.ImpactQuery) *pb.QueryToolImpactResponse {
	m := &pb.QueryToolImpactResponse{
		Headline:     i.Headline,
		Tool:         wire.ResourceName("tools", i.Tool.Serial),
		Calibration:  wire.CalibrationTo(&i.Failed),
		StartTime:    wire.Timestamp(i.Start),
		EndTime:      wire.Timestamp(i.End),
		DecisionRule: decisionRuleTo(i.Rule),
		LimitPercent: i.LimitPercent,
		Points:       impactPointsTo(i.Points),
		Cycles:       i.Cycles,
		Method:       i.Method,
		Assumption:   i.Assumption,
		Cautions:     i.Cautions,
		AsOfTime:     wire.Timestamp(q.AsOf),
	}
	if i.LastGood != nil {
		m.LastGoodCalibration = wire.CalibrationTo(i.LastGood)
	}
	for _, b := range i.Bands {
		m.Bands = append(m.Bands, &pb.TorqueBand{LowerNewtonMetres: b.LowerNewtonMetres, UpperNewtonMetres: b.UpperNewtonMetres})
	}
	for _, j := range i.Joints {
		m.Joints = append(m.Joints, impactJointTo(j, i.Holds[j.Joint]))
	}
	for _, j := range i.ImpactAnswer.GoneOver {
		m.GoneOver = append(m.GoneOver, impactJointTo(j, i.Holds[j.Joint]))
	}
	for _, j := range i.Apart {
		hold, released := holdNames(i.Holds[j.Joint])
		m.Apart = append(m.Apart, &pb.JointApart{
			Joint: j.Joint.Resource(), State: pb.JointState(j.Status.State), OnHold: j.Status.OnHold,
			Reason: pb.ApartReason(j.Reason), Records: impactRecordsTo(j.Records), Sentence: j.Sentence,
			Hold: hold, HoldReleasedBy: released,
		})
	}
	return m
}

// decisionRuleTo is the opposite of decisionRuleFrom.
func decisionRuleTo(r metrology.DecisionRule) pb.DecisionRule {
	rule, err := ledger.DecisionRules.Parse(string(r))
	if err != nil {
		return pb.DecisionRule_DECISION_RULE_UNSPECIFIED
	}
	return pb.DecisionRule(rule)
}

func impactPointsTo(points []analysis.ImpactPoint) []*pb.ImpactPoint {
	out := make([]*pb.ImpactPoint, len(points))
	for i, p := range points {
		out[i] = &pb.ImpactPoint{
			TargetNewtonMetres: p.TargetNewtonMetres,
			Failed:             p.Failed,
			Verdict:            pb.Verdict(p.Outcome + 1), // both lists are the best first
			Readings:           int32(p.Readings),
			MeanPercent:        p.MeanPercent,
			WorstPercent:       p.WorstPercent,
			SpreadPercent:      p.SpreadPercent,
			UncertaintyPercent: p.UncertaintyPercent,
			LastGoodPercent:    p.LastGoodPercent,
		}
	}
	return out
}

func impactJointTo(j analysis.JointImpact, hold *ledger.Hold) *pb.ImpactJoint {
	m := &pb.ImpactJoint{
		Joint:              j.Joint.Resource(),
		State:              pb.JointState(j.Status.State),
		OnHold:             j.Status.OnHold,
		Records:            impactRecordsTo(j.Records),
		DecidingRecord:     ledger.RecordName(ledger.KindTightening, j.Deciding),
		SetNewtonMetres:    j.SetNewtonMetres,
		UnknownDrift:       deliveredTo(j.UnknownDrift),
		LinearDrift:        deliveredTo(j.LinearDrift),
		OutsideProbability: j.OutsideProbability,
		NoTorqueFound:      j.NoTorqueFound,
		LockingCured:       j.LockingCured,
		Sentence:           j.Sentence,
	}
	m.Hold, m.HoldReleasedBy = holdNames(hold)
	if w := j.Window; w != nil {
		m.WindowLowerNewtonMetres, m.WindowUpperNewtonMetres, m.WindowBasis = &w.LowerNewtonMetres, &w.UpperNewtonMetres, w.Basis
	}
	if g := j.GoneOver; g != nil {
		m.GoneOver = &pb.GoneOver{
			Record: ledger.RecordName(ledger.KindTightening, g.ID), OccurTime: wire.Timestamp(g.At),
			Tool: wire.ResourceName("tools", g.Tool), Fasteners: int32(g.Fasteners),
		}
	}
	return m
}

// holdNames are the names of a hold and of its release; empty for none.
func holdNames(h *ledger.Hold) (hold, release string) {
	if h == nil {
		return "", ""
	}
	return ledger.RecordResource(h), holdName(h.ReleasedBy)
}

func holdName(id uuid.UUID) string {
	if id == uuid.Nil {
		return ""
	}
	return ledger.RecordName(ledger.KindHold, id)
}

func impactRecordsTo(records []analysis.ImpactRecord) []*pb.ImpactRecord {
	out := make([]*pb.ImpactRecord, len(records))
	for i, r := range records {
		out[i] = &pb.ImpactRecord{
			Name:               ledger.RecordName(ledger.KindTightening, r.ID),
			OccurTime:          wire.Timestamp(r.At),
			Pass:               pb.Pass(r.Pass),
			TorqueNewtonMetres: r.TorqueNewtonMetres,
			Fasteners:          int32(r.Fasteners),
			Counts:             r.Counts,
			InBand:             r.InBand,
			CycleShare:         r.CycleShare,
		}
	}
	return out
}

func deliveredTo(d *analysis.DriftEstimate) *pb.DeliveredTorque {
	if d == nil {
		return nil
	}
	return &pb.DeliveredTorque{
		DeviationPercent:                d.DeviationPercent,
		DeliveredNewtonMetres:           d.DeliveredNewtonMetres,
		StandardUncertaintyNewtonMetres: d.StandardUncertaintyNewtonMetres,
		OutsideProbability:              d.OutsideProbability,
	}
}

func impactHoldsTo(h store.ImpactHolds) *pb.HoldToolImpactResponse {
	m := &pb.HoldToolImpactResponse{Calibration: ledger.RecordName(ledger.KindCalibration, h.Calibration), Cautions: h.Cautions}
	for _, j := range h.Joints {
		m.Holds = append(m.Holds, &pb.ImpactHold{
			Joint: j.Joint.Resource(),
			Outcome: &pb.Outcome{
				Name: holdName(j.Hold), State: outcomeStates[j.Outcome.State], Refusal: refusal(j.Outcome.Err), Findings: wire.FindingsTo(j.Outcome.Findings),
			},
			ReleasedBy:         holdName(j.ReleasedBy),
			OutsideProbability: j.OutsideProbability,
		})
	}
	return m
}

func failedCalibrationTo(f store.FailedCalibration) *pb.FailedCalibration {
	m := &pb.FailedCalibration{
		Tool:        wire.ResourceName("tools", f.Tool.Serial),
		Site:        wire.ResourceName("sites", f.Tool.HomeSite),
		Calibration: ledger.RecordResource(&f.Failed),
		Certificate: f.Failed.Certificate,
		OccurTime:   wire.Timestamp(f.Failed.OccurTime),
		StartTime:   wire.Timestamp(f.Impact.Start),
		Joints:      int64(len(f.Impact.Joints)),
		GoneOver:    int64(len(f.Impact.GoneOver)),
	}
	if f.LastGood != nil {
		m.LastGoodCalibration = ledger.RecordResource(f.LastGood)
	}
	var failed []analysis.ImpactPoint
	for _, p := range f.Impact.Points {
		if p.Failed {
			failed = append(failed, p)
		}
	}
	m.FailedPoints, m.WorstPercent = impactPointsTo(failed), analysis.WorstPercent(failed)
	for _, j := range f.Impact.Apart {
		if j.Reason == analysis.ApartNoTorque {
			m.WithoutTorque++
		}
	}
	return m
}
