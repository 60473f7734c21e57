package service

import (
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

const (
	// mostHeldJoints bounds the joints that one request may name.
	mostHeldJoints = 10_000
	// mostReason leaves room in a hold's reason for the impact.
	mostReason = 200
)

// impactQuestion is what the requests about an impact have.
type impactQuestion interface {
	GetTool() string
	GetCalibration() string
	GetLastGoodCalibration() string
	GetDecisionRule() pb.DecisionRule
	GetAsOfTime() *timestamppb.Timestamp
}

func (s impactService) impactQuestionFrom(p *problems, r impactQuestion) analysis.ImpactQuery {
	return analysis.ImpactQuery{
		Tool:        p.Required("tool", "tools", r.GetTool()),
		Calibration: calibrationNamed(p, "calibration", r.GetCalibration()),
		LastGood:    calibrationNamed(p, "last_good_calibration", r.GetLastGoodCalibration()),
		Rule:        decisionRuleFrom(p, r.GetDecisionRule()),
		AsOf:        s.asOf(p, r.GetAsOfTime()),
	}
}

func (s impactService) asOf(p *problems, t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return ledger.Microseconds(s.now())
	}
	return p.Time("as_of_time", t)
}

func calibrationNamed(p *problems, field, name string) uuid.UUID {
	if name == "" {
		return uuid.Nil
	}
	return p.RecordID(field, "calibrations", name)
}

// decisionRuleFrom gives the rule of the same name; empty for none.
func decisionRuleFrom(p *problems, r pb.DecisionRule) metrology.DecisionRule {
	return metrology.DecisionRule(ledger.DecisionRules.Name(wire.Known(p, "decision_rule", ledger.DecisionRules, r)))
}

func (s impactService) failedFilterFrom(p *problems, r *pb.ListFailedCalibrationsRequest) store.FailedFilter {
	f := store.FailedFilter{Query: analysis.ImpactQuery{Rule: decisionRuleFrom(p, r.DecisionRule), AsOf: s.asOf(p, r.AsOfTime)}}
	for i, name := range r.Sites {
		f.Sites = append(f.Sites, p.PlaceOf(fmt.Sprintf("sites[%d]", i), name, 1, false).Site)
	}
	return f
}

func (s impactService) impactDecisionFrom(p *problems, r *pb.HoldToolImpactRequest) store.ImpactDecision {
	d := store.ImpactDecision{
		Query: s.impactQuestionFrom(p, r), Least: analysis.HoldThreshold, Reason: strings.TrimSpace(r.Reason),
		Entry: ledger.Entry{
			OccurTime:     p.Time("entry.occur_time", r.Entry.GetOccurTime()),
			OffsetMinutes: int(r.Entry.GetUtcOffsetMinutes()),
			Person:        p.Reference("entry.person", "people", r.Entry.GetPerson()),
			Device:        r.Entry.GetDevice(), Note: r.Entry.GetNote(), Offline: r.Entry.GetOffline(),
		},
	}
	if r.Entry.GetOccurTime() == nil {
		d.Entry.OccurTime = ledger.Microseconds(s.now())
	}
	if d.Entry.Person == "" && !p.About("entry.person") {
		p.Add("entry.person", "is required; expected people/{person}")
	}
	switch n := utf8.RuneCountInString(d.Reason); {
	case n == 0:
		p.Add("reason", "is required")
	case n > mostReason:
		p.Add("reason", "has %d characters; expected at most %d", n, mostReason)
	}
	if least := r.MinimumProbability; least != nil {
		d.Least = *least
		if !(d.Least >= 0 && d.Least <= 1) {
			p.Add("minimum_probability", "%v is out of range; expected a number from 0 to 1", d.Least)
		}
		if len(r.Joints) > 0 {
			p.Add("minimum_probability", "is given with joints; expected one of them")
		}
	}
	if n := len(r.Joints); n > mostHeldJoints {
		p.Add("joints", "has %d members; expected at most %d", n, mostHeldJoints)
		return d
	}
	for i, name := range r.Joints {
		d.Joints = append(d.Joints, p.PlaceOf(fmt.Sprintf("joints[%d]", i), name, 4, false))
	}
	return d
}
