package cli

import (
	"fmt"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// apartReasons are the words of pb.ApartReason, from 1.
var apartReasons = []string{"no-torque-on-record", "outside-band"}

func impactJointColumns() []output.Column[*pb.ImpactJoint] {
	type joint = *pb.ImpactJoint
	return []output.Column[joint]{
		{Name: "name", Heading: "JOINT", Value: func(j joint) any { return ledger.ShortName(j.GetJoint()) }},
		{Name: "records", Value: func(j joint) any { return recordIDs(j.GetRecords()) }},
		{Name: "deciding_record", Value: func(j joint) any { return ledger.ShortName(j.GetDecidingRecord()) }},
		{Name: "set_torque_n_m", Heading: "SET N.m", Value: func(j joint) any { return j.GetSetNewtonMetres() }},
		{Name: "delivered_torque_n_m", Heading: "GOT N.m", Value: func(j joint) any { return deliveredValue(j.GetUnknownDrift()) },
			Text: func(j joint) string { return deliveredText(j.GetUnknownDrift()) }},
		{Name: "delivered_torque_linear_drift_n_m", Heading: "OR, WITH USE", Value: func(j joint) any { return deliveredValue(j.GetLinearDrift()) },
			Text: func(j joint) string { return deliveredText(j.GetLinearDrift()) }},
		{Heading: "ALLOWED N.m", Text: func(j joint) string {
			if j.WindowLowerNewtonMetres == nil || j.WindowUpperNewtonMetres == nil {
				return "not known"
			}
			return rounded(j.GetWindowLowerNewtonMetres(), 2) + " to " + rounded(j.GetWindowUpperNewtonMetres(), 2)
		}},
		{Name: "probability_outside", Heading: "OUTSIDE", Value: func(j joint) any { return pointed(j.OutsideProbability) },
			Text: func(j joint) string { return outsideText(j.OutsideProbability) }},
		{Name: "state", Heading: "STATE", Value: func(j joint) any { return text(wordOf(ledger.JointStates, j.GetState())) }},
		{Name: "window_lower_n_m", Value: func(j joint) any { return pointed(j.WindowLowerNewtonMetres) }},
		{Name: "window_upper_n_m", Value: func(j joint) any { return pointed(j.WindowUpperNewtonMetres) }},
		{Name: "window_basis", Value: func(j joint) any { return text(j.GetWindowBasis()) }},
		{Name: "deviation_pct", Value: func(j joint) any { return deviationValue(j.GetUnknownDrift()) }},
		{Name: "standard_uncertainty_n_m", Value: func(j joint) any { return uncertaintyOf(j.GetUnknownDrift()) }},
		{Name: "probability_outside_unknown_drift", Value: func(j joint) any { return outsideOf(j.GetUnknownDrift()) }},
		{Name: "deviation_linear_drift_pct", Value: func(j joint) any { return deviationValue(j.GetLinearDrift()) }},
		{Name: "standard_uncertainty_linear_drift_n_m", Value: func(j joint) any { return uncertaintyOf(j.GetLinearDrift()) }},
		{Name: "probability_outside_linear_drift", Value: func(j joint) any { return outsideOf(j.GetLinearDrift()) }},
		{Name: "no_torque_found", Value: func(j joint) any { return j.GetNoTorqueFound() }},
		{Name: "locking_cured", Value: func(j joint) any { return j.GetLockingCured() }},
		{Name: "gone_over_at", Value: func(j joint) any { return when(j.GetGoneOver().GetOccurTime()) }},
		{Name: "gone_over_serial", Value: func(j joint) any { return text(ledger.ShortName(j.GetGoneOver().GetTool())) }},
		{Name: "gone_over_fasteners", Value: func(j joint) any { return whole(j.GetGoneOver().GetFasteners()) }},
		{Name: "gone_over_record", Value: func(j joint) any { return text(ledger.ShortName(j.GetGoneOver().GetRecord())) }},
		{Name: "on_hold", Value: func(j joint) any { return j.GetOnHold() }},
		{Name: "hold_id", Value: func(j joint) any { return text(ledger.ShortName(j.GetHold())) }},
		{Name: "hold_released_by", Value: func(j joint) any { return text(ledger.ShortName(j.GetHoldReleasedBy())) }},
		{Name: "finding", Value: func(j joint) any { return text(j.GetSentence()) }},
		{Heading: "NOTE", Text: impactNote},
	}
}

// impactNote says in a few words what is to be known of a joint besides.
func impactNote(j *pb.ImpactJoint) string {
	over := ""
	if g := j.GetGoneOver(); g != nil {
		over = fmt.Sprintf("%s gone over since with %s", counted(int(g.GetFasteners()), "fastener"), ledger.ShortName(g.GetTool()))
	}
	return sentence(
		wordsIf(j.GetNoTorqueFound(), "the tool gave no torque there"), wordsIf(j.GetLockingCured(), "compound cured: not by turning"),
		over, holdState(j.GetOnHold(), j.GetHold(), j.GetHoldReleasedBy()))
}

// wordsIf is a text that stands under a condition.
func wordsIf(holds bool, words string) string {
	if holds {
		return words
	}
	return ""
}

// holdState says whether a joint is on hold, and what became of its hold for the
// impact.
func holdState(on bool, hold, released string) string {
	switch {
	case hold != "" && released == "":
		return "on hold for it"
	case released != "" && on:
		return "released, on hold for something else"
	case released != "":
		return "released"
	case on:
		return "on hold for something else"
	}
	return ""
}

func recordIDs(records []*pb.ImpactRecord) []string {
	ids := make([]string, len(records))
	for i, r := range records {
		ids[i] = ledger.ShortName(r.GetName())
	}
	return ids
}

func deliveredValue(d *pb.DeliveredTorque) any {
	if d == nil {
		return nil
	}
	return d.GetDeliveredNewtonMetres()
}

func deliveredText(d *pb.DeliveredTorque) string {
	if d == nil {
		return "not known"
	}
	return fmt.Sprintf("%.2f (%+.1f %%)", d.GetDeliveredNewtonMetres(), d.GetDeviationPercent())
}

func deviationValue(d *pb.DeliveredTorque) any {
	if d == nil {
		return nil
	}
	return d.GetDeviationPercent()
}

// uncertaintyOf and outsideOf are the optional figures of one model.
func uncertaintyOf(d *pb.DeliveredTorque) any {
	if d == nil {
		return nil
	}
	return pointed(d.StandardUncertaintyNewtonMetres)
}

func outsideOf(d *pb.DeliveredTorque) any {
	if d == nil {
		return nil
	}
	return pointed(d.OutsideProbability)
}

// outsideText writes a probability without claiming certainty.
func outsideText(p *float64) string {
	switch {
	case p == nil:
		return "not known"
	case *p < 0.001:
		return "< 0.1 %"
	case *p > 0.999:
		return "> 99.9 %"
	}
	return fmt.Sprintf("%.1f %%", 100**p)
}

func apartColumns() []output.Column[*pb.JointApart] {
	type joint = *pb.JointApart
	return []output.Column[joint]{
		{Name: "name", Heading: "JOINT", Value: func(j joint) any { return ledger.ShortName(j.GetJoint()) }},
		{Name: "records", Value: func(j joint) any { return recordIDs(j.GetRecords()) }},
		{Name: "reason", Value: func(j joint) any {
			if r := int(j.GetReason()); r >= 1 && r <= len(apartReasons) {
				return apartReasons[r-1]
			}
			return nil
		}},
		{Name: "state", Heading: "STATE", Value: func(j joint) any { return text(wordOf(ledger.JointStates, j.GetState())) }},
		{Name: "on_hold", Value: func(j joint) any { return j.GetOnHold() }},
		{Name: "hold_id", Value: func(j joint) any { return text(ledger.ShortName(j.GetHold())) }},
		{Name: "hold_released_by", Value: func(j joint) any { return text(ledger.ShortName(j.GetHoldReleasedBy())) }},
		{Heading: "HOLD", Text: func(j joint) string { return holdState(j.GetOnHold(), j.GetHold(), j.GetHoldReleasedBy()) }},
		{Name: "finding", Heading: "WHY", Value: func(j joint) any { return text(j.GetSentence()) }},
	}
}

func impactPointColumns() []output.Column[*pb.ImpactPoint] {
	type point = *pb.ImpactPoint
	signed := func(v *float64) string {
		if v == nil {
			return "-"
		}
		return fmt.Sprintf("%+.2f", *v)
	}
	return []output.Column[point]{
		{Name: "target_n_m", Heading: "POINT N.m", Value: func(p point) any { return p.GetTargetNewtonMetres() }},
		{Name: "verdict", Heading: "AS FOUND", Value: func(p point) any { return text(wordOf(ledger.Verdicts, p.GetVerdict())) }},
		{Name: "failed", Value: func(p point) any { return p.GetFailed() }},
		{Name: "readings", Heading: "READINGS", Value: func(p point) any { return p.GetReadings() }},
		{Name: "mean_pct", Heading: "MEAN %", Value: func(p point) any { return pointed(p.MeanPercent) }, Text: func(p point) string { return signed(p.MeanPercent) }},
		{Name: "worst_pct", Heading: "WORST %", Value: func(p point) any { return pointed(p.WorstPercent) }, Text: func(p point) string {
			if p.WorstPercent == nil {
				return "no torque"
			}
			return signed(p.WorstPercent)
		}},
		{Name: "spread_pct", Value: func(p point) any { return pointed(p.SpreadPercent) }},
		{Name: "standard_uncertainty_pct", Value: func(p point) any { return pointed(p.UncertaintyPercent) }},
		{Name: "last_good_pct", Heading: "LAST GOOD %", Value: func(p point) any { return pointed(p.LastGoodPercent) }, Text: func(p point) string { return signed(p.LastGoodPercent) }},
	}
}

func impactHoldColumns() []output.Column[*pb.ImpactHold] {
	type hold = *pb.ImpactHold
	return []output.Column[hold]{
		{Name: "joint", Heading: "JOINT", Value: func(h hold) any { return ledger.ShortName(h.GetJoint()) }},
		{Name: "hold_id", Heading: "HOLD", Value: func(h hold) any { return text(ledger.ShortName(h.GetOutcome().GetName())) }},
		{Name: "state", Heading: "STATE", Value: func(h hold) any { return heldAs(h) }},
		{Name: "released_by", Value: func(h hold) any { return text(ledger.ShortName(h.GetReleasedBy())) }},
		{Name: "probability_outside", Value: func(h hold) any { return pointed(h.OutsideProbability) }},
		{Name: "refusal", Heading: "WHY", Value: func(h hold) any { return text(refusalText(h.GetOutcome().GetRefusal())) }},
	}
}

// heldAs is the word of what became of a hold.
func heldAs(h *pb.ImpactHold) string {
	if word, ok := outcomeStates[h.GetOutcome().GetState()]; ok {
		return word
	}
	return "refused"
}

func refusalText(r *pb.Refusal) string {
	if r == nil {
		return ""
	}
	if v := r.GetFieldViolations(); len(v) > 0 {
		return v[0].GetDescription()
	}
	return r.GetMessage()
}
