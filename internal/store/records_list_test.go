package store_test

import (
	"context"
	"fmt"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// mixedRecords keeps a mixture at both sites and gives it in the order of the
// chains: by site as registered, then by sequence.
func mixedRecords(t *testing.T, s *store.Store) []ledger.Record {
	t.Helper()
	joints := []string{"KVR/CT1/C1/J001", "RVB/CT1/C1/J001", "RVB/CT1/C1/J002", "RVB/CT1/C2/J001", "RVB/CT2/C1/J003"}
	var records []ledger.Record
	for i := range 20 {
		joint, occurred := joints[i%len(joints)], storetest.Occurred.Add(time.Duration(37*i%20)*time.Hour)
		records = append(records,
			storetest.NewTightening(joint, func(r *ledger.Tightening) {
				r.OccurTime = occurred
				if i%4 == 0 {
					r.Lot, r.Tool, r.Person = storetest.GalvanizedLot, storetest.ImpactWrench, storetest.Visitor
				}
			}),
			storetest.NewIncident(ledger.IncidentKind(1+i%12), joint, func(r *ledger.Incident) {
				r.OccurTime = occurred
				if i%5 == 0 && !r.Kind.ThreadFailure() {
					r.Joint = ledger.Place{}
				}
			}),
			storetest.NewLotMovement(storetest.StainlessLot, []string{storetest.Denver, storetest.Kolkata}[i%2], func(r *ledger.LotMovement) { r.OccurTime = occurred }),
			storetest.NewCalibration([]string{storetest.DenverWrench, storetest.KolkataWrench}[i%2], func(r *ledger.Calibration) { r.OccurTime = occurred }))
	}
	storetest.Record(t, s, records...)
	slices.SortStableFunc(records, func(a, b ledger.Record) int {
		rank := func(r ledger.Record) int64 {
			if r.SiteCode() == storetest.Kolkata {
				return 1<<40 + r.Head().Sequence
			}
			return r.Head().Sequence
		}
		return int(rank(a) - rank(b))
	})
	return records
}

func testRecordsAreListed(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	all := mixedRecords(t, s)
	for _, kind := range []ledger.RecordKind{ledger.KindTightening, ledger.KindIncident, ledger.KindCalibration, ledger.KindLotMovement} {
		page := func(p store.Page) ([]ledger.Record, string, error) {
			return s.Records(ctx, store.RecordFilter{Kind: kind}, p)
		}
		want := slices.DeleteFunc(slices.Clone(all), func(r ledger.Record) bool { return r.RecordKind() != kind })
		if diff := cmp.Diff(want, inPages(t, 1000, page)); diff != "" {
			t.Errorf("%s (-want +got):\n%s", ledger.RecordKinds.Name(kind), diff)
		}
		for size := 1; size <= len(want)+1; size++ {
			if diff := cmp.Diff(idsOf(want), idsOf(inPages(t, size, page))); diff != "" {
				t.Errorf("%s in pages of %d (-want +got):\n%s", ledger.RecordKinds.Name(kind), size, diff)
			}
		}
	}
}

func idsOf(records []ledger.Record) []string {
	return mapped(records, func(r ledger.Record) string {
		return fmt.Sprintf("%s %d %s", r.SiteCode(), r.Head().Sequence, r.Head().ID)
	})
}

// testRecordFilters compares each filter with a filter in Go.
func testRecordFilters(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	all := mixedRecords(t, s)
	kinds := []ledger.RecordKind{ledger.KindTightening, ledger.KindIncident, ledger.KindCalibration, ledger.KindLotMovement}
	place := func(text string) ledger.Place {
		p, err := ledger.ParsePlace(text)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	noon := storetest.Occurred.Add(10 * time.Hour)
	filters := map[string]store.RecordFilter{
		"site":             {Place: place("KVR")},
		"tower":            {Place: place("RVB/CT1")},
		"cell":             {Place: place("RVB/CT1/C2")},
		"joint":            {Place: place("RVB/CT2/C1/J003")},
		"lot":              {Lot: storetest.GalvanizedLot},
		"tool":             {Tool: storetest.KolkataWrench},
		"person":           {Person: storetest.Visitor},
		"start":            {Start: noon},
		"end":              {End: noon},
		"start and end":    {Start: noon, End: noon.Add(time.Microsecond)},
		"nothing that was": {Start: noon.Add(240 * time.Hour)},
		"site and tool":    {Place: place("RVB"), Tool: storetest.DenverWrench},
		"all at once":      {Place: place("RVB/CT1/C1"), Lot: storetest.StainlessLot, Tool: storetest.DenverWrench, Person: storetest.DenverPerson, Start: noon.Add(-6 * time.Hour), End: noon.Add(6 * time.Hour)},
		"incident":         {Incident: ledger.Galling},
	}
	for name, f := range filters {
		for _, kind := range kinds {
			f.Kind = kind
			want := slices.DeleteFunc(slices.Clone(all), func(r ledger.Record) bool { return !matches(r, f) })
			got := inPages(t, 3, func(p store.Page) ([]ledger.Record, string, error) { return s.Records(ctx, f, p) })
			if diff := cmp.Diff(idsOf(want), idsOf(got)); diff != "" {
				t.Errorf("%s of %s (-want +got):\n%s", name, ledger.RecordKinds.Name(kind), diff)
			}
		}
	}
	for _, c := range []struct {
		filter            store.RecordFilter
		resource, nearest string
	}{
		{store.RecordFilter{Place: place("RVB/CT1/C9")}, "sites/RVB/towers/CT1/cells/C9", "C1"},
		{store.RecordFilter{Lot: "M16-HDG-0094"}, "lots/M16-HDG-0094", storetest.GalvanizedLot},
		{store.RecordFilter{Tool: "TW-0108"}, "tools/TW-0108", storetest.DenverWrench},
		{store.RecordFilter{Person: "p.nairr"}, "people/p.nairr", storetest.KolkataPerson},
	} {
		c.filter.Kind = ledger.KindTightening
		_, _, err := s.Records(ctx, c.filter, store.Page{Size: 3})
		wantUnknown(t, err, c.resource, c.nearest)
	}
}

// matches is the filter in Go.
func matches(r ledger.Record, f store.RecordFilter) bool {
	var joint ledger.Place
	var lot, tool string
	var incident ledger.IncidentKind
	switch r := r.(type) {
	case *ledger.Tightening:
		joint, lot, tool = r.Joint, r.Lot, r.Tool
	case *ledger.Incident:
		joint, lot, tool, incident = r.Joint, r.Lot, r.Tool, r.Kind
	case *ledger.Calibration:
		tool = r.Tool
	case *ledger.LotMovement:
		lot = r.Lot
	}
	head, p := r.Head(), f.Place
	return r.RecordKind() == f.Kind &&
		(p.Site == "" || p.Site == r.SiteCode()) && (p.Tower == "" || p.Tower == joint.Tower) &&
		(p.Cell == "" || p.Cell == joint.Cell) && (p.Joint == "" || p.Joint == joint.Joint) &&
		(f.Lot == "" || f.Lot == lot) && (f.Tool == "" || f.Tool == tool) && (f.Person == "" || f.Person == head.Person) &&
		(f.Start.IsZero() || !head.OccurTime.Before(f.Start)) && (f.End.IsZero() || head.OccurTime.Before(f.End)) &&
		(f.Incident == 0 || f.Kind != ledger.KindIncident || f.Incident == incident)
}

// testRecordsPastTheParameterLimit sends more at once than a statement of either
// engine has parameters for.
func testRecordsPastTheParameterLimit(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	const n, joints = 5_000, 100 // 80,000 parameters in all; PostgreSQL takes 65,535 at once
	cells := []string{"RVB/CT1/C1", "KVR/CT1/C1"}
	var planned []ledger.Joint
	for i := range 2 * joints {
		joint := storetest.NewFleet().Joints[0]
		joint.Place = storetest.NewTightening(fmt.Sprintf("%s/X%03d", cells[i%2], i/2)).Joint
		planned = append(planned, joint)
	}
	outcomes, err := s.RegisterJoints(ctx, planned, store.Change{})
	wantStates(t, outcomes, err, slices.Repeat([]store.OutcomeState{store.Taken}, len(planned))...)
	records := make([]ledger.Record, n)
	for i := range records {
		switch joint := planned[i%len(planned)].Place.String(); i % 10 {
		case 7:
			records[i] = storetest.NewIncident(ledger.Galling, joint)
		default:
			records[i] = storetest.NewTightening(joint, func(r *ledger.Tightening) { r.OccurTime = r.OccurTime.Add(time.Duration(i) * time.Minute) })
		}
	}
	sent := resentAll(records)
	storetest.Record(t, s, records...)
	outcomes, err = s.Record(ctx, sent[:1000], store.Change{})
	wantStates(t, outcomes, err, slices.Repeat([]store.OutcomeState{store.AlreadyKnown}, 1000)...)
	// The rest of a last chunk, and chunks that are just full.
	more := int64(0)
	for _, size := range []int{1, 3, 4, 5, 31, 32, 33, 255, 256, 257} {
		more += int64(size)
		some := make([]ledger.Record, size)
		for i := range some {
			some[i] = storetest.NewLotMovement(storetest.StainlessLot, storetest.Denver)
		}
		storetest.Record(t, s, some...)
	}
	lengths := chainLengths(t, s)
	if kolkata, denver := lengths[storetest.Kolkata], lengths[storetest.Denver]; kolkata != n/2 || denver != n/2+more {
		t.Errorf("%d and %d records; expected %d and %d in the chains", kolkata, denver, n/2, n/2+more)
	}
}
