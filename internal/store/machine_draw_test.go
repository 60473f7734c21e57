package store_test

import (
	"context"

	"pgregory.net/rapid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// evenly draws a number below n, each as often: rapid's own ranges mostly give small ones,
// so that the last of many cases hardly ever come.
func evenly(rt *rapid.T, n int, what string) int {
	all := make([]int, n)
	for i := range all {
		all[i] = i
	}
	return rapid.SampledFrom(all).Draw(rt, what)
}

func (m *machine) entry(rt *rapid.T) ledger.Entry {
	return ledger.Entry{
		ID: m.id(), OccurTime: m.moment(rt), OffsetMinutes: rapid.SampledFrom([]int{-420, 0, 330}).Draw(rt, "offset"),
		Person: rapid.SampledFrom([]string{storetest.DenverPerson, storetest.KolkataPerson, storetest.Visitor}).Draw(rt, "person"),
		Note:   rapid.SampledFrom([]string{"", "it's", "🔩"}).Draw(rt, "note"),
	}
}

// machineJoints are the joints that may come to be registered: one cell, and a joint of the
// other site.
func machineJoints() []ledger.Joint {
	f := storetest.NewFleet()
	return append(f.Joints[:3:3], f.Joints[9])
}

// draw makes a record of any kind that clients send; now and then it is not valid
// or names what is not known.
func (m *machine) draw(rt *rapid.T) ledger.Record {
	f := storetest.NewFleet()
	joint := rapid.SampledFrom(append(machineJoints(), f.Joints[4])).Draw(rt, "joint").Place // the last is never registered
	lot := rapid.SampledFrom([]string{storetest.StainlessLot, storetest.OtherStainlessLot, storetest.GalvanizedLot}).Draw(rt, "lot")
	tool := rapid.SampledFrom([]string{"", storetest.DenverWrench, storetest.KolkataWrench, storetest.ImpactWrench}).Draw(rt, "tool")
	fasteners := rapid.IntRange(0, 30).Draw(rt, "fasteners") // 0 is not valid, for most
	treatment := ledger.Treatment(1 + evenly(rt, 3, "treatment"))
	if rapid.Bool().Draw(rt, "of the site") {
		return m.drawSite(rt, joint, lot, tool)
	}
	switch evenly(rt, 4, "kind of record") {
	case 0:
		r := &ledger.Tightening{Entry: m.entry(rt), Joint: joint, Lot: lot, Treatment: treatment, Tool: tool, Fasteners: fasteners,
			Pass: ledger.Pass(1 + evenly(rt, 3, "pass")), Method: ledger.DrivenByHand}
		if rapid.Bool().Draw(rt, "torque known") {
			torque := rapid.Float64Range(0, 40).Draw(rt, "torque")
			r.TorqueNewtonMetres = &torque
		}
		return r
	case 1:
		r := &ledger.Incident{Entry: m.entry(rt), Kind: ledger.IncidentKind(1 + evenly(rt, 12, "incident")), Site: joint.Site, Joint: joint,
			Fasteners: fasteners, Lot: lot, Treatment: treatment, Tool: tool, Method: ledger.DrivenByImpact}
		if !r.Kind.ThreadFailure() && rapid.Bool().Draw(rt, "at no joint") {
			r.Joint, r.Lot, r.Treatment, r.Method = ledger.Place{}, "", 0, 0
		}
		return r
	case 2:
		reading := rapid.Float64Range(0, 100).Draw(rt, "reading")
		return &ledger.Calibration{Entry: m.entry(rt), Tool: tool,
			Points: []ledger.CalibrationPoint{{Phase: ledger.AsLeft, TargetNewtonMetres: 60, ReadingsNewtonMetres: []float64{reading, 60}, ExpandedUncertaintyNewtonMetres: 0.6}}}
	default:
		site := rapid.SampledFrom([]string{storetest.Denver, storetest.Kolkata}).Draw(rt, "site")
		return &ledger.LotMovement{Entry: m.entry(rt), Lot: lot, Site: site, Quantity: int64(fasteners),
			Kind: ledger.MovementKind(1 + evenly(rt, 5, "movement"))}
	}
}

// lengthsWithoutAutomaticHolds is chainLengths for a test that has no
// *testing.T.
func lengthsWithoutAutomaticHolds(s *store.Store, report store.Report) (map[string]int64, error) {
	lengths := map[string]int64{}
	for _, one := range report.Sites {
		lengths[one.Site] = one.Records
	}
	for after := ""; ; {
		holds, next, err := s.Records(context.Background(), store.RecordFilter{Kind: ledger.KindHold}, store.Page{Size: 1000, After: after})
		if err != nil {
			return nil, err
		}
		for _, r := range holds {
			if r.(*ledger.Hold).Rule != "" {
				lengths[r.SiteCode()]--
			}
		}
		if next == "" {
			return lengths, nil
		}
		after = next
	}
}
