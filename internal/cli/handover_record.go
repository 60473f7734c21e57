package cli

import (
	"fmt"

	"jointledger/internal/ledger"
	"jointledger/internal/report"
	pb "jointledger/proto/jointledger/v1"
)

func (b *handoverBuilder) entry(name string, e *pb.Entry) report.Entry {
	link := ""
	if len(e.GetChainLink()) > 0 {
		link = fmt.Sprintf("%x", e.GetChainLink())
	}
	return report.Entry{
		ID: ledger.ShortName(name), At: b.time(e.GetOccurTime()), Person: shortText(e.GetPerson()), Device: report.Text(e.GetDevice()), Note: report.Text(e.GetNote()),
		ReceivedAt: b.timeOrNone(e.GetReceiveTime()), Sequence: e.GetChainSequence(), Link: report.Text(link), CorrectedBy: shortText(e.GetCorrectedBy()),
	}
}

func kindWord(kind ledger.RecordKind) string { return ledger.RecordKinds.Name(kind) }

// record makes a plain record of an item of a joint's history.
func (b *handoverBuilder) record(item *pb.HistoryItem) report.Record {
	r := report.Record{Findings: handoverFindings(item.GetFindings()), Attachments: b.attachments(item.GetAttachments())}
	switch m := item.GetRecord().(type) {
	case *pb.HistoryItem_Tightening:
		t := m.Tightening
		r.Kind, r.Entry = kindWord(ledger.KindTightening), b.entry(t.GetName(), t.GetEntry())
		r.Tightening = &report.Tightening{
			Specification: shortText(t.GetSpecification()), Fasteners: t.GetFasteners(), Lot: shortText(t.GetLot()),
			Treatment: report.Text(wordOf(ledger.Treatments, t.GetTreatment())), Batch: report.Text(t.GetCompoundBatch()), Tool: shortText(t.GetTool()),
			TorqueNM: t.TorqueNewtonMetres, TorqueAsTyped: report.Text(t.GetTorqueAsTyped()),
			Pass: report.Text(wordOf(ledger.Passes, t.GetPass())), Method: report.Text(wordOf(ledger.DrivingMethods, t.GetDrivingMethod()))}
	case *pb.HistoryItem_Incident:
		i := m.Incident
		r.Kind, r.Entry = kindWord(ledger.KindIncident), b.entry(i.GetName(), i.GetEntry())
		r.Incident = &report.Incident{
			Specification: shortText(i.GetSpecification()), Kind: report.Text(wordOf(ledger.IncidentKinds, i.GetKind())), Fasteners: i.GetFasteners(),
			Lot: shortText(i.GetLot()), Treatment: report.Text(wordOf(ledger.Treatments, i.GetTreatment())), Tool: shortText(i.GetTool()),
			Method: report.Text(wordOf(ledger.DrivingMethods, i.GetDrivingMethod())), Noticed: report.Text(i.GetNoticed()), Action: report.Text(i.GetAction())}
	case *pb.HistoryItem_Sealing:
		r.Kind, r.Entry = kindWord(ledger.KindSealing), b.entry(m.Sealing.GetName(), m.Sealing.GetEntry())
		r.Sealing = b.sealing(m.Sealing)
	case *pb.HistoryItem_Inspection:
		i := m.Inspection
		r.Kind, r.Entry = kindWord(ledger.KindInspection), b.entry(i.GetName(), i.GetEntry())
		r.Inspection = &report.Inspection{
			Kind: report.Text(wordOf(ledger.InspectionKinds, i.GetKind())), Sample: i.GetSample(), Plan: report.Text(i.GetPlan()),
			ReadingsNM: append([]float64{}, i.GetReadingsNewtonMetres()...), Result: report.Text(wordOf(ledger.InspectionResults, i.GetResult())), Tool: shortText(i.GetTool())}
	default:
		b.control(&r, item)
	}
	return r
}

// control makes plain the records that say what was decided.
func (b *handoverBuilder) control(r *report.Record, item *pb.HistoryItem) {
	switch m := item.GetRecord().(type) {
	case *pb.HistoryItem_Hold:
		hold := handoverHold(m.Hold)
		r.Kind, r.Entry, r.Hold = kindWord(ledger.KindHold), b.entry(m.Hold.GetName(), m.Hold.GetEntry()), &hold
	case *pb.HistoryItem_Disposition:
		d := m.Disposition
		r.Kind, r.Entry = kindWord(ledger.KindDisposition), b.entry(d.GetName(), d.GetEntry())
		r.Disposition = &report.Disposition{Incident: shortText(d.GetIncident()), Decision: report.Text(wordOf(ledger.Decisions, d.GetDecision())), Reason: report.Text(d.GetReason())}
	case *pb.HistoryItem_SignOff:
		s := m.SignOff
		r.Kind, r.Entry = kindWord(ledger.KindSignOff), b.entry(s.GetName(), s.GetEntry())
		r.SignOff = &report.SignOff{Place: shortText(s.GetPlace()), Point: report.Text(wordOf(ledger.SignOffPoints, s.GetPoint())), Title: report.Text(s.GetTitle())}
	case *pb.HistoryItem_Correction:
		c := m.Correction
		r.Kind, r.Entry = kindWord(ledger.KindCorrection), b.entry(c.GetName(), c.GetEntry())
		r.Correction = &report.Correction{Corrects: shortText(c.GetCorrects()), Reason: report.Text(c.GetReason()), Replacement: shortText(replacementName(c))}
	}
}

func (b *handoverBuilder) sealing(s *pb.Sealing) *report.Sealing {
	return &report.Sealing{
		Specification: shortText(s.GetSpecification()), Sealant: report.Text(s.GetSealant()), Batch: report.Text(s.GetBatch()), WidthMM: unlessZero(s.GetWidthMillimetres()),
		Solvent: report.Text(s.GetSolvent()), CleanedAt: b.timeOrNone(s.GetCleanTime()), AirC: s.AirCelsius, SurfaceC: s.SurfaceCelsius, HumidityPct: s.HumidityPercent,
		Splice: report.Text(wordOf(ledger.Splices, s.GetSplice())), FlangeStraight: s.FlangeStraight,
	}
}

func handoverHold(h *pb.Hold) report.Hold {
	what := ledger.ShortName(h.GetPlace())
	switch {
	case h.GetLot() != "":
		what = "lot " + ledger.ShortName(h.GetLot())
	case h.GetTool() != "":
		what = "tool " + ledger.ShortName(h.GetTool())
	}
	return report.Hold{
		Action: report.Text(wordOf(ledger.HoldActions, h.GetAction())), Held: report.Text(what), Reason: report.Text(h.GetReason()),
		Rule: report.Text(h.GetRule()), Cause: shortText(h.GetCause()), Releases: shortText(h.GetReleases()),
		Decision: report.Text(wordOf(ledger.Decisions, h.GetDecision())), ReleasedBy: shortText(h.GetReleasedBy()),
	}
}
