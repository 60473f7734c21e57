package store_test

import (
	"context"
	"slices"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
	"jointledger/internal/visible"
)

// compareStates holds the states of all joints, and the holds on them that people placed,
// to the model's: for who sees everything, and for who sees one site.
func (m *machine) compareStates(rt *rapid.T) {
	for _, sees := range []visible.Sites{{}, {Restricted: true, Codes: []string{storetest.Kolkata}}, {Restricted: true}} {
		got, next, err := m.s.JointStates(visible.With(context.Background(), sees), ledger.Place{}, false, store.Page{Size: 100})
		if err != nil || next != "" {
			rt.Fatalf("states: %q, %v", next, err)
		}
		for i := range got {
			placed := placedByPeople(got[i].OpenHolds)
			got[i].OpenHolds, got[i].TightenedTime = nil, time.Time{}
			for _, id := range placed {
				got[i].OpenHolds = append(got[i].OpenHolds, &ledger.Hold{Entry: ledger.Entry{ID: id}})
			}
		}
		if diff := cmp.Diff(m.model.states(sees.Of), got, given); diff != "" {
			rt.Fatalf("states of the joints of %+v (-model +store):\n%s", sees, diff)
		}
	}
}

// compareSeen holds what somebody counts who sees one site to the model's records of it.
func (m *machine) compareSeen(rt *rapid.T) {
	for _, site := range []string{storetest.Denver, storetest.Kolkata} {
		ctx := visible.With(context.Background(), visible.Sites{Restricted: true, Codes: []string{site}})
		own := slices.DeleteFunc(m.model.counting(), func(r ledger.Record) bool { return r.SiteCode() != site })
		for _, by := range [][]analysis.Grouping{{analysis.BySite, analysis.ByMonth}, {analysis.ByTool}} {
			q := analysis.CountQuery{GroupBy: by}
			got, err := m.s.Counts(ctx, q)
			got = slices.DeleteFunc(got, func(c analysis.Count) bool { return c.Tightened == 0 && c.Incidents == [16]int64{} })
			if diff := cmp.Diff(referenceCounts(own, q, storetest.NewFleet()), got, given); err != nil || diff != "" {
				rt.Fatalf("counts by %v of who sees %s, %v (-model +store):\n%s", by, site, err, diff)
			}
		}
	}
}

// remembered are answers that rest on what a server remembers.
type remembered struct {
	States []store.JointStatus
	Tools  []analysis.TrackedTool
	Counts []analysis.Count
}

// answers asks the server of now.
func (m *machine) answers(rt *rapid.T, s *store.Store, asOf time.Time) (r remembered) {
	ctx := context.Background()
	var err error
	if r.States, _, err = s.JointStates(ctx, ledger.Place{}, false, store.Page{Size: 100}); err != nil {
		rt.Fatal(err)
	}
	if r.Tools, err = s.TrackedTools(ctx, analysis.TrackedQuery{AsOf: asOf}); err != nil {
		rt.Fatal(err)
	}
	if r.Counts, err = s.Counts(ctx, analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.BySite, analysis.ByLot, analysis.ByTreatment}}); err != nil {
		rt.Fatal(err)
	}
	return r
}

// compareCold opens the store again: a server that remembers nothing must answer as the one
// did that was at it all the time.
func (m *machine) compareCold(rt *rapid.T) {
	asOf := time.Now()
	warm := m.answers(rt, m.s, asOf)
	m.close(rt)
	m.open(rt)
	sameZone := cmp.Comparer(func(a, b *time.Location) bool { return a.String() == b.String() })
	if diff := cmp.Diff(warm, m.answers(rt, m.s, asOf), cmpopts.EquateEmpty(), sameZone); diff != "" {
		rt.Fatalf("before and after the start (-before +after):\n%s", diff)
	}
}
