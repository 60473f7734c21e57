package cli

import (
	"strings"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// summaryOf says in a few words what a record tells, its joint left out.
func summaryOf(r record) string {
	switch r := r.(type) {
	case *pb.Tightening:
		torque := ""
		if r.TorqueNewtonMetres != nil {
			torque = rounded(r.GetTorqueNewtonMetres(), 2) + " N.m"
		}
		return sentence(counted(int(r.GetFasteners()), "fastener"), wordOf(ledger.Passes, r.GetPass())+" pass", named("lot", r.GetLot()),
			wordOf(ledger.Treatments, r.GetTreatment()), torque, named("tool", r.GetTool()))
	case *pb.Incident:
		n := ""
		if r.GetFasteners() > 0 {
			n = counted(int(r.GetFasteners()), "fastener")
		}
		return sentence(wordOf(ledger.IncidentKinds, r.GetKind()), n, named("lot", r.GetLot()), r.GetNoticed(), r.GetAction())
	case *pb.Sealing:
		width, surface, humidity := "", "", ""
		if r.GetWidthMillimetres() > 0 {
			width = rounded(r.GetWidthMillimetres(), 1) + " mm"
		}
		if r.SurfaceCelsius != nil {
			surface = "surface " + rounded(r.GetSurfaceCelsius(), 1) + " °C"
		}
		if r.HumidityPercent != nil {
			humidity = rounded(r.GetHumidityPercent(), 0) + " % RH"
		}
		return sentence(r.GetSealant(), named("batch", r.GetBatch()), width, surface, humidity, prefixed("splice ", wordOf(ledger.Splices, r.GetSplice())))
	case *pb.Inspection:
		return sentence(wordOf(ledger.InspectionKinds, r.GetKind()), wordOf(ledger.InspectionResults, r.GetResult()), r.GetPlan(), named("tool", r.GetTool()))
	case *pb.ToolCheck:
		return toolCheckSummary(r)
	case *pb.Hold:
		what := "on hold: "
		if r.GetAction() == pb.HoldAction_HOLD_ACTION_RELEASED {
			what = "released: "
		}
		return sentence(what+held(r), wordOf(ledger.Decisions, r.GetDecision()), prefixed(r.GetRule()+": ", r.GetReason()))
	case *pb.Disposition:
		return sentence(wordOf(ledger.Decisions, r.GetDecision()), r.GetReason(), named("incident", r.GetIncident()))
	case *pb.SignOff:
		return sentence(ledger.ShortName(r.GetPlace()), wordOf(ledger.SignOffPoints, r.GetPoint()), r.GetTitle())
	case *pb.Correction:
		what := "withdraws "
		if replacementName(r) != "" {
			what = "replaces "
		}
		return sentence(what+r.GetCorrects(), r.GetReason())
	}
	return ""
}

// named is a thing with the word for it; empty for none.
func named(word, resource string) string { return prefixed(word+" ", ledger.ShortName(resource)) }

// prefixed puts words before a text that is there.
func prefixed(before, text string) string {
	if text == "" {
		return ""
	}
	return strings.TrimPrefix(before, ": ") + text
}
