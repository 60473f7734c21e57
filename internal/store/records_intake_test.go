package store_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// oneOfEach gives a sound record of each kind. The lot movement comes first, so
// that stock never falls below zero.
func oneOfEach() []ledger.Record {
	return []ledger.Record{
		storetest.NewLotMovement(storetest.StainlessLot, storetest.Denver),
		storetest.NewCalibration(storetest.DenverWrench),
		storetest.NewTightening(storetest.DenverJoint),
		storetest.NewIncident(ledger.Galling, storetest.DenverJoint),
	}
}

// resent gives a copy of a record as a client would send it again: with nothing
// that the server gave.
func resent(r ledger.Record) ledger.Record {
	switch r := r.(type) {
	case *ledger.Tightening:
		c := *r
		c.Entry, c.Specification = asSent(c.Entry), ledger.SpecificationRef{}
		if r.TorqueNewtonMetres != nil {
			torque := *r.TorqueNewtonMetres
			c.TorqueNewtonMetres = &torque
		}
		return &c
	case *ledger.Incident:
		c := *r
		c.Entry, c.Specification = asSent(c.Entry), ledger.SpecificationRef{}
		return &c
	case *ledger.Calibration:
		c := *r
		c.Entry, c.Site, c.Verdict = asSent(c.Entry), "", nil
		c.Points = slices.Clone(c.Points)
		for i := range c.Points {
			c.Points[i].ReadingsNewtonMetres = slices.Clone(c.Points[i].ReadingsNewtonMetres)
		}
		return &c
	case *ledger.LotMovement:
		c := *r
		c.Entry = asSent(c.Entry)
		return &c
	case *ledger.Correction:
		c := *r
		c.Entry, c.Site = asSent(c.Entry), ""
		if r.With != nil {
			c.With = resent(r.With)
		}
		return &c
	}
	return resentSite(r)
}

func asSent(e ledger.Entry) ledger.Entry {
	e.ReceiveTime, e.LocalDay, e.Sequence, e.Link, e.CorrectedBy = time.Time{}, 0, 0, ledger.Link{}, uuid.Nil
	return e
}

func resentAll(records []ledger.Record) []ledger.Record { return mapped(records, resent) }

// chainLength is the number of records that clients sent in a site's chain, which
// must be sound.
func chainLength(t *testing.T, s *store.Store, site string) int64 {
	t.Helper()
	n, ok := chainLengths(t, s)[site]
	if !ok {
		t.Fatalf("no site %s in the report", site)
	}
	return n
}

// chainLengths is chainLength of each site. Holds that the store placed itself,
// because a record broke a rule, stand in the chain and do not count here.
func chainLengths(t *testing.T, s *store.Store) map[string]int64 {
	t.Helper()
	lengths, err := lengthsWithoutAutomaticHolds(s, soundReport(t, s))
	if err != nil {
		t.Fatal(err)
	}
	return lengths
}

// soundReport verifies the store, which must be sound.
func soundReport(t *testing.T, s *store.Store) store.Report {
	t.Helper()
	report, err := s.Verify(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if !report.OK() {
		t.Fatalf("the store is not sound: %+v", report)
	}
	return report
}

func testRecordsAreTakenOnce(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	before := time.Now().Truncate(time.Microsecond)
	records := oneOfEach()
	storetest.Record(t, s, records...)
	for i, r := range records {
		head := r.Head()
		if head.Sequence != int64(i+1) || head.Link == (ledger.Link{}) {
			t.Errorf("record %d stands at %d with link %s; expected %d", i, head.Sequence, head.Link, i+1)
		}
		if head.ReceiveTime.Before(before) || head.ReceiveTime.After(time.Now()) {
			t.Errorf("record %d was received at %v; expected the present moment", i, head.ReceiveTime)
		}
	}
	kept := storedRecords(t, s, records)
	for _, again := range [][]ledger.Record{resentAll(records), records, {resent(records[3]), resent(records[0])}} {
		outcomes, err := s.Record(ctx, again, store.Change{})
		wantStates(t, outcomes, err, slices.Repeat([]store.OutcomeState{store.AlreadyKnown}, len(again))...)
	}
	if diff := cmp.Diff(kept, storedRecords(t, s, records)); diff != "" {
		t.Errorf("sending again changed them (-before +after):\n%s", diff)
	}
	if n := chainLength(t, s, storetest.Denver); n != 4 {
		t.Errorf("%d records in the chain; expected 4", n)
	}
	if outcomes, err := s.Record(ctx, nil, store.Change{}); err != nil || len(outcomes) != 0 {
		t.Errorf("no records: %v, %v", outcomes, err)
	}
}

// storedRecords reads records anew.
func storedRecords(t *testing.T, s *store.Store, records []ledger.Record) []ledger.Record {
	t.Helper()
	return mapped(records, func(r ledger.Record) ledger.Record {
		got, err := s.FindRecord(context.Background(), r.RecordKind(), r.Head().ID)
		if err != nil {
			t.Fatalf("%s: %v", ledger.RecordResource(r), err)
		}
		return got
	})
}

func testRecordIDsAreNotReused(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	records := oneOfEach()
	storetest.Record(t, s, records...)
	kept := storedRecords(t, s, records)
	movement, calibration := resent(records[0]).(*ledger.LotMovement), resent(records[1]).(*ledger.Calibration)
	tightening, incident := resent(records[2]).(*ledger.Tightening), resent(records[3]).(*ledger.Incident)
	movement.Quantity++
	calibration.Points[1].ReadingsNewtonMetres[1] += 0.1
	*tightening.TorqueNewtonMetres = 0
	incident.OccurTime = incident.OccurTime.Add(time.Microsecond)
	otherKind := storetest.NewIncident(ledger.Galling, storetest.DenverJoint)
	otherKind.ID = tightening.ID
	elsewhere := resent(records[2]).(*ledger.Tightening)
	elsewhere.Joint.Site = storetest.Kolkata
	sent := []ledger.Record{movement, calibration, tightening, incident, otherKind, elsewhere}
	outcomes, err := s.Record(ctx, sent, store.Change{})
	wantStates(t, outcomes, err, slices.Repeat([]store.OutcomeState{store.Refused}, len(sent))...)
	for i, o := range outcomes {
		refusal := wantError(t, o.Err, ledger.KindExists, ledger.ReasonRecordIDReused, sent[i].Head().ID.String())
		if want := ledger.RecordResource(sent[i]); refusal.Resource != want {
			t.Errorf("refusal names %q; expected %q", refusal.Resource, want)
		}
	}
	if diff := cmp.Diff(kept, storedRecords(t, s, records)); diff != "" {
		t.Errorf("a reuse changed them (-before +after):\n%s", diff)
	}
	if n := chainLength(t, s, storetest.Denver); n != 4 {
		t.Errorf("%d records in the chain; expected 4", n)
	}
	_, err = s.FindRecord(ctx, ledger.KindIncident, tightening.ID)
	e2 := wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource, "incident", tightening.ID.String())
	if e2.Resource != "incidents/"+tightening.ID.String() {
		t.Errorf("resource %q", e2.Resource)
	}
}

func testRepeatsWithinABatch(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	first := storetest.NewTightening(storetest.DenverJoint)
	other := resent(first).(*ledger.Tightening)
	other.Fasteners++
	spoilt := resent(first).(*ledger.Tightening)
	spoilt.Fasteners = 0
	neighbour := storetest.NewIncident(ledger.Leak, storetest.DenverJoint)

	t.Log("a member that is refused does not take the id")
	outcomes, err := s.Record(ctx, []ledger.Record{spoilt, first, resent(first), other, neighbour, resent(first)}, store.Change{})
	wantStates(t, outcomes, err, store.Refused, store.Taken, store.AlreadyKnown, store.Refused, store.Taken, store.AlreadyKnown)
	wantError(t, outcomes[3].Err, ledger.KindExists, ledger.ReasonRecordIDReused)

	t.Log("and now they are in the database")
	outcomes, err = s.Record(ctx, []ledger.Record{other, resent(first), other, resent(neighbour)}, store.Change{})
	wantStates(t, outcomes, err, store.Refused, store.AlreadyKnown, store.Refused, store.AlreadyKnown)
	if n := chainLength(t, s, storetest.Denver); n != 2 {
		t.Errorf("%d records in the chain; expected 2", n)
	}
	got := storedRecords(t, s, []ledger.Record{first})[0].(*ledger.Tightening)
	if got.Fasteners != 8 {
		t.Errorf("%d fasteners; expected the 8 that came first", got.Fasteners)
	}
}

// testABadMemberFailsNoNeighbour puts each fault between sound records.
func testABadMemberFailsNoNeighbour(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	known := storetest.NewTightening(storetest.KolkataJoint)
	storetest.Record(t, s, known)
	reused := resent(known).(*ledger.Tightening)
	reused.Note = "altered"
	bad := []ledger.Record{
		storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Fasteners, r.Treatment, r.Lot = 0, 0, "" }),
		storetest.NewTightening("RVB/CT1/C1/J099"),
		storetest.NewIncident(ledger.Seized, storetest.DenverJoint, func(r *ledger.Incident) { r.Lot = "M10-316-0000" }),
		storetest.NewCalibration("TW-9999"),
		storetest.NewLotMovement(storetest.StainlessLot, "XYZ"),
		reused,
	}
	var batch []ledger.Record
	var want []store.OutcomeState
	for _, b := range bad {
		good := oneOfEach()
		batch = append(append(batch, good...), b)
		want = append(want, store.Taken, store.Taken, store.Taken, store.Taken, store.Refused)
	}
	outcomes, err := s.Record(ctx, batch, store.Change{})
	wantStates(t, outcomes, err, want...)
	invalid := wantError(t, outcomes[4].Err, ledger.KindInvalid, ledger.ReasonInvalidField, "tightening")
	if diff := cmp.Diff([]string{"lot", "treatment", "fasteners"}, fieldsOf(invalid)); diff != "" {
		t.Errorf("fields (-want +got):\n%s", diff)
	}
	if n := chainLength(t, s, storetest.Denver); n != int64(4*len(bad)) {
		t.Errorf("%d records in the chain; expected %d", n, 4*len(bad))
	}

	t.Log("a batch of bad members alone is answered too, and writes nothing")
	outcomes, err = s.Record(ctx, bad, store.Change{})
	wantStates(t, outcomes, err, slices.Repeat([]store.OutcomeState{store.Refused}, len(bad))...)
}

func testRecordsAreOnlyValidated(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	known := storetest.NewTightening(storetest.DenverJoint)
	storetest.Record(t, s, known)
	before := soundReport(t, s)
	reused := resent(known).(*ledger.Tightening)
	reused.Note = "altered"
	fresh := oneOfEach()
	bad := storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.Fasteners = 0 })
	unknown := storetest.NewTightening("RVB/CT1/C1/J099")
	outcomes, err := s.Record(ctx, append([]ledger.Record{resent(known), reused, bad, unknown, resent(fresh[2])}, fresh...), store.Change{ValidateOnly: true})
	wantStates(t, outcomes, err, store.AlreadyKnown, store.Refused, store.Refused, store.Refused, store.Taken, store.Taken, store.Taken, store.AlreadyKnown, store.Taken)
	wantError(t, outcomes[1].Err, ledger.KindExists, ledger.ReasonRecordIDReused)
	wantError(t, outcomes[3].Err, ledger.KindNotFound, ledger.ReasonUnknownResource)
	if diff := cmp.Diff(before, soundReport(t, s)); diff != "" {
		t.Errorf("validating changed the chain (-before +after):\n%s", diff)
	}
	for _, r := range fresh {
		_, err := s.FindRecord(ctx, r.RecordKind(), r.Head().ID)
		wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
	}
	stock, err := s.LotStock(ctx, storetest.StainlessLot)
	if diff := cmp.Diff([]ledger.LotStock{{Site: storetest.Denver, Used: 8, OnHand: -8}}, stock); err != nil || diff != "" {
		t.Errorf("stock, %v (-want +got):\n%s", err, diff)
	}
	storetest.Record(t, s, fresh...)
}
