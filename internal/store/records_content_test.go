package store_test

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// testRecordsComeBackAsTheyWere keeps records with every field given and with
// every field empty that may be, and reads them alone and in a list.
func testRecordsComeBackAsTheyWere(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	bare := ledger.Entry{OccurTime: time.Unix(0, 0), OffsetMinutes: 0}
	withID := func(e ledger.Entry, person string) ledger.Entry {
		e.ID, e.Person = storetest.NewID(), person
		return e
	}
	joint := storetest.NewTightening(storetest.DenverJoint).Joint
	records := append(oneOfEach(),
		&ledger.Tightening{Entry: withID(bare, storetest.Visitor), Joint: joint, Lot: storetest.GalvanizedLot, Treatment: ledger.TreatmentOtherLubricant,
			Fasteners: ledger.MaxFasteners, Pass: ledger.PassRetightening, Method: ledger.DrivenByNutrunner},
		&ledger.Incident{Entry: withID(bare, storetest.Visitor), Kind: ledger.NearMiss, Site: storetest.Kolkata},
		&ledger.Incident{Entry: withID(bare, storetest.Visitor), Kind: ledger.Leak, Site: storetest.Denver, Joint: joint},
		&ledger.Calibration{Entry: withID(bare, ""), Tool: storetest.KolkataWrench, Document: ledger.DeclarationOfConformance,
			Points: []ledger.CalibrationPoint{{Phase: ledger.AsLeft, TargetNewtonMetres: 40, ReadingsNewtonMetres: []float64{0, math.SmallestNonzeroFloat64}}}},
		&ledger.Calibration{Entry: withID(bare, ""), Tool: storetest.DenverWrench, Points: []ledger.CalibrationPoint{
			{Phase: ledger.AsFound, TargetNewtonMetres: 100, ReadingsNewtonMetres: []float64{0.30000000000000004, math.Nextafter(1, 2), 1e-7, 99_999.999999999}, ExpandedUncertaintyNewtonMetres: 1e-3},
			{Phase: ledger.AsLeft, TargetNewtonMetres: math.Nextafter(100, 0), ReadingsNewtonMetres: []float64{100, 99.99999999999999}, ExpandedUncertaintyNewtonMetres: 1.0 / 3, CoverageFactor: 2.87},
		}},
		&ledger.LotMovement{Entry: withID(bare, ""), Lot: storetest.GalvanizedLot, Site: storetest.Kolkata, Kind: ledger.MovementCounted, Quantity: 0},
		&ledger.LotMovement{Entry: withID(bare, storetest.Visitor), Lot: storetest.GalvanizedLot, Site: storetest.Denver, Kind: ledger.MovementScrapped, Quantity: ledger.MaxQuantity},
	)
	sent := resentAll(records)
	storetest.Record(t, s, records...)
	for i, got := range storedRecords(t, s, records) {
		if diff := cmp.Diff(sent[i], resent(got), cmp.Comparer(time.Time.Equal)); diff != "" {
			t.Errorf("%s (-sent +read):\n%s", ledger.RecordResource(got), diff)
		}
		if diff := cmp.Diff(records[i], got, cmp.Comparer(time.Time.Equal)); diff != "" {
			t.Errorf("%s (-answered +read):\n%s", ledger.RecordResource(got), diff)
		}
		listed, _, err := s.Records(ctx, store.RecordFilter{Kind: got.RecordKind()}, store.Page{Size: 50})
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, l := range listed {
			if l.Head().ID == got.Head().ID {
				found = true
				if diff := cmp.Diff(got, l); diff != "" {
					t.Errorf("%s (-read alone +in the list):\n%s", ledger.RecordResource(got), diff)
				}
			}
		}
		if !found {
			t.Errorf("%s is not in the list", ledger.RecordResource(got))
		}
	}
	outcomes, err := s.Record(ctx, sent, store.Change{})
	if err != nil {
		t.Fatal(err)
	}
	for i, o := range outcomes {
		if o.State != store.AlreadyKnown {
			t.Errorf("%s sent again: state %d, %v", ledger.RecordResource(sent[i]), o.State, o.Err)
		}
	}
	soundReport(t, s)
}

// testTextsComeBackAsTheyWere keeps texts that quoting, collation or an encoding
// could spoil.
func testTextsComeBackAsTheyWere(t *testing.T, e storetest.Engine) {
	s := storetest.OpenFleet(t, e.NewConfig(t))
	notes := []string{
		`it's "quoted" with \ and \n, \u0000 and $1 ? :name %s`,
		"line one\nline two\r\n\ttabbed ",
		" leading and trailing ",
		"🔩 with a zero-width joiner: 👩🏽\u200d🔧, and a code point from the future: \U0001FAE9",
		"éclair as one and e\u0301clair as two code points", // no normalisation
		"right to left: \u202eabc, a byte order mark: \ufeff, a replacement: \ufffd",
		"'; DROP TABLE records; --",
		"{\"json\": null}",
		"NULL",
		strings.Repeat("長", 2000),
	}
	var records []ledger.Record
	for _, n := range notes {
		line := []rune(strings.NewReplacer("\n", " ", "\r", " ", "\t", " ").Replace(n))
		short := func(limit int) string { return string(line[:min(limit, len(line))]) }
		records = append(records,
			storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) {
				r.Note, r.Device, r.CompoundBatch, r.TorqueAsTyped = n, short(64), short(64), short(32)
			}),
			storetest.NewIncident(ledger.Galling, storetest.DenverJoint, func(r *ledger.Incident) { r.Note, r.Noticed, r.Action = n, short(100), short(200) }),
			storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.Note, r.Laboratory, r.Certificate = n, short(100), short(100) }),
			storetest.NewLotMovement(storetest.StainlessLot, storetest.Denver, func(r *ledger.LotMovement) { r.Note, r.Reference, r.HandledBy = n, short(100), short(100) }))
	}
	storetest.Record(t, s, records...)
	for i, got := range storedRecords(t, s, records) {
		if diff := cmp.Diff(records[i], got); diff != "" {
			t.Errorf("note %q (-kept +read):\n%s", notes[i/4], diff)
		}
	}
	soundReport(t, s)
}

// testTorqueZeroAndAbsent tells a torque of nothing from no torque. Minus zero is
// zero: SQLite does not keep its sign in a column of whole numbers.
func testTorqueZeroAndAbsent(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	with := func(torque *float64) *ledger.Tightening {
		return storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.TorqueNewtonMetres = torque })
	}
	zero, minusZero := 0.0, math.Copysign(0, -1)
	absent, none, minus := with(nil), with(&zero), with(&minusZero)
	storetest.Record(t, s, absent, none, minus)
	got := storedRecords(t, s, []ledger.Record{absent, none, minus})
	if torque := got[0].(*ledger.Tightening).TorqueNewtonMetres; torque != nil {
		t.Errorf("torque %v; expected none", *torque)
	}
	for _, r := range got[1:] {
		if torque := r.(*ledger.Tightening).TorqueNewtonMetres; torque == nil || *torque != 0 {
			t.Errorf("torque %v; expected 0", torque)
		}
	}
	soundReport(t, s)

	swapped := []ledger.Record{with(&zero), with(nil), with(&zero)}
	for i, r := range []*ledger.Tightening{absent, none, minus} {
		swapped[i].Head().ID = r.ID
	}
	outcomes, err := s.Record(ctx, swapped, store.Change{})
	wantStates(t, outcomes, err, store.Refused, store.Refused, store.AlreadyKnown)

	reading := func(v float64) ledger.Record {
		return storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) {
			r.Points = []ledger.CalibrationPoint{{Phase: ledger.AsFound, TargetNewtonMetres: 20, ReadingsNewtonMetres: []float64{v, 20}, ExpandedUncertaintyNewtonMetres: 0.2}}
		})
	}
	storetest.Record(t, s, reading(0), reading(minusZero))
	soundReport(t, s)
}
