package store_test

import (
	"context"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// testRecordsNameWhatExists sends one record for each name that is not known.
func testRecordsNameWhatExists(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	tightening := func(joint string, changes ...func(*ledger.Tightening)) ledger.Record {
		return storetest.NewTightening(joint, changes...)
	}
	incident := func(change func(*ledger.Incident)) ledger.Record {
		return storetest.NewIncident(ledger.DroppedTool, storetest.DenverJoint, change)
	}
	cases := []struct {
		record            ledger.Record
		resource, nearest string
	}{
		{tightening("RVB/CT1/C1/J0011"), "sites/RVB/towers/CT1/cells/C1/joints/J0011", "J001"},
		{tightening("RVB/CT1/C3/J001"), "sites/RVB/towers/CT1/cells/C3", "C1"},
		{tightening("RVB/CT3/C1/J001"), "sites/RVB/towers/CT3", "CT1"},
		{tightening("KVB/CT1/C1/J001"), "sites/KVB", "KVR"},
		{tightening("WXYZ-77/CT1/C1/J001"), "sites/WXYZ-77", ""},
		// The highest unknown part is named, before anything else that is unknown.
		{tightening("KVR/CT2/C9/J009", func(r *ledger.Tightening) { r.Lot = "none" }), "sites/KVR/towers/CT2", "CT1"},
		{tightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Lot = "M10-316-4417" }), "lots/M10-316-4417", storetest.StainlessLot},
		// Letter case counts in a name; the right one is offered.
		{tightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Lot = "m10-316-4471" }), "lots/m10-316-4471", storetest.StainlessLot},
		{tightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Tool = "TW-0170" }), "tools/TW-0170", storetest.DenverWrench},
		{tightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Person = "a.reyez" }), "people/a.reyez", storetest.DenverPerson},
		{incident(func(r *ledger.Incident) { r.Joint.Joint = "J0099" }), "sites/RVB/towers/CT1/cells/C1/joints/J0099", ""},
		{incident(func(r *ledger.Incident) { r.Site, r.Joint = "RVBB", ledger.Place{} }), "sites/RVBB", "RVB"},
		{incident(func(r *ledger.Incident) { r.Tool = "IW-0013" }), "tools/IW-0013", storetest.ImpactWrench},
		{incident(func(r *ledger.Incident) { r.Lot = "M16-HDG-93" }), "lots/M16-HDG-93", storetest.GalvanizedLot},
		{storetest.NewCalibration("TW0107"), "tools/TW0107", storetest.DenverWrench},
		{storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.Person = "jt44" }), "people/jt44", storetest.Visitor},
		{storetest.NewLotMovement("M10-316-44711", storetest.Denver), "lots/M10-316-44711", storetest.StainlessLot},
		{storetest.NewLotMovement(storetest.StainlessLot, "KVRR"), "sites/KVRR", "KVR"},
	}
	for _, only := range []bool{true, false} {
		outcomes, err := s.Record(ctx, mapped(cases, func(c struct {
			record            ledger.Record
			resource, nearest string
		}) ledger.Record {
			return c.record
		}), store.Change{ValidateOnly: only})
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range cases {
			if outcomes[i].State != store.Refused {
				t.Errorf("%s: state %d; expected it to be refused", c.resource, outcomes[i].State)
				continue
			}
			wantUnknown(t, outcomes[i].Err, c.resource, c.nearest)
		}
	}
	if n := chainLength(t, s, storetest.Denver); n != 0 {
		t.Errorf("%d records in the chain; expected none", n)
	}
}

// testRecordsKeepTheirRevision changes a specification between records. What
// comes late keeps the revision that it was made under.
func testRecordsKeepTheirRevision(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	now := func() (records []ledger.Record) {
		records = []ledger.Record{storetest.NewTightening(storetest.DenverJoint), storetest.NewIncident(ledger.Galling, storetest.DenverJoint)}
		for _, r := range records {
			r.Head().OccurTime = ledger.Microseconds(time.Now())
		}
		return records
	}
	first, late := now(), now()
	storetest.Record(t, s, first...)
	if _, err := s.UpdateSpecification(ctx, storetest.Stainless, 1, store.Change{}, func(v *ledger.Specification) error { v.TorqueNewtonMetres = 35; return nil }); err != nil {
		t.Fatal(err)
	}
	second := now()
	longAgo := storetest.NewTightening(storetest.DenverJoint) // before anything was registered
	storetest.Record(t, s, append(append(second, late...), longAgo)...)
	joint := storetest.NewTightening(storetest.DenverJoint).Joint
	if _, err := s.UpdateJoint(ctx, joint, 1, store.Change{}, func(v *ledger.Joint) error { v.Specification = storetest.Galvanized; return nil }); err != nil {
		t.Fatal(err)
	}
	third := now()
	nowhere := storetest.NewIncident(ledger.NearMiss, storetest.DenverJoint, func(r *ledger.Incident) { r.Joint, r.Lot, r.Treatment, r.Method = ledger.Place{}, "", 0, 0 })
	storetest.Record(t, s, append(third, nowhere)...)

	for want, records := range map[ledger.SpecificationRef][]ledger.Record{
		{Code: storetest.Stainless, Revision: 1}:  append(append(first, late...), longAgo),
		{Code: storetest.Stainless, Revision: 2}:  second,
		{Code: storetest.Galvanized, Revision: 1}: third,
		{}: {nowhere},
	} {
		for _, r := range storedRecords(t, s, records) {
			var got ledger.SpecificationRef
			switch r := r.(type) {
			case *ledger.Tightening:
				got = r.Specification
			case *ledger.Incident:
				got = r.Specification
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("%s (-want +got):\n%s", ledger.RecordResource(r), diff)
			}
		}
	}
	soundReport(t, s)
}

// testCalibrationsStandAtTheHomeSite moves a tool between calibrations.
func testCalibrationsStandAtTheHomeSite(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	before := storetest.NewCalibration(storetest.DenverWrench)
	storetest.Record(t, s, before)
	if _, err := s.UpdateTool(ctx, storetest.DenverWrench, 1, store.Change{}, func(v *ledger.Tool) error { v.HomeSite = storetest.Kolkata; return nil }); err != nil {
		t.Fatal(err)
	}
	after := storetest.NewCalibration(storetest.DenverWrench)
	storetest.Record(t, s, after)
	if before.Site != storetest.Denver || after.Site != storetest.Kolkata {
		t.Errorf("placed at %s and %s; expected %s and %s", before.Site, after.Site, storetest.Denver, storetest.Kolkata)
	}
	for _, c := range []struct {
		site string
		want *ledger.Calibration
	}{{storetest.Denver, before}, {storetest.Kolkata, after}} {
		got, _, err := s.Records(ctx, store.RecordFilter{Kind: ledger.KindCalibration, Place: ledger.Place{Site: c.site}}, store.Page{Size: 5})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff([]ledger.Record{c.want}, got); diff != "" {
			t.Errorf("calibrations of %s (-want +got):\n%s", c.site, diff)
		}
	}
	if a, b := chainLength(t, s, storetest.Denver), chainLength(t, s, storetest.Kolkata); a != 1 || b != 1 {
		t.Errorf("%d and %d records; expected one in each chain", a, b)
	}

	t.Log("sent again after the move, it is known and stays where it is")
	outcomes, err := s.Record(ctx, []ledger.Record{resent(before)}, store.Change{})
	wantStates(t, outcomes, err, store.AlreadyKnown)
	if got := storedRecords(t, s, []ledger.Record{before})[0]; got.SiteCode() != storetest.Denver {
		t.Errorf("it moved to %s", got.SiteCode())
	}
}
