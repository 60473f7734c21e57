package store_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// tallyOfOutcomes gathers what became of each record over many writers.
type tallyOfOutcomes struct {
	sync.Mutex
	taken map[uuid.UUID][]ledger.Record
	other map[uuid.UUID]int
}

func (o *tallyOfOutcomes) add(t *testing.T, sent []ledger.Record, outcomes []store.Outcome) {
	o.Lock()
	defer o.Unlock()
	for i, r := range sent {
		id := r.Head().ID
		switch outcomes[i].State {
		case store.Taken:
			o.taken[id] = append(o.taken[id], resent(r))
		case store.Refused:
			if e := outcomes[i].Err; e.Reason != ledger.ReasonRecordIDReused {
				t.Errorf("%s refused: %v", ledger.RecordResource(r), e)
			}
			fallthrough
		default:
			o.other[id]++
		}
	}
}

// sharedRecords are records that several writers send, some of them altered.
func sharedRecords(n int) []ledger.Record {
	var records []ledger.Record
	for i := range n {
		joint := []string{storetest.DenverJoint, storetest.KolkataJoint, "RVB/CT2/C1/J002"}[i%3]
		if i%5 == 4 {
			records = append(records, storetest.NewIncident(ledger.IncidentKind(1+i%12), joint, func(r *ledger.Incident) { r.Fasteners = 1 + i%4 }))
		} else {
			records = append(records, storetest.NewTightening(joint, func(r *ledger.Tightening) { r.Fasteners, r.Pass = 1+i, ledger.Pass(1+i%3) }))
		}
	}
	return records
}

// altered gives the record with other content now and then.
func altered(draw *rand.Rand, r ledger.Record) ledger.Record {
	c := resent(r)
	if draw.IntN(8) == 0 {
		c.Head().Note = "altered"
		if tightening, ok := c.(*ledger.Tightening); ok {
			tightening.Fasteners += 1000
		}
	}
	return c
}

// write has each of the writers send batches of the shared records, to one of the
// stores, and checks what became of them all.
func write(t *testing.T, stores []*store.Store, writers, batches int) {
	t.Helper()
	shared := sharedRecords(240)
	outcomes := &tallyOfOutcomes{taken: map[uuid.UUID][]ledger.Record{}, other: map[uuid.UUID]int{}}
	var group sync.WaitGroup
	for i := range writers {
		group.Go(func() {
			draw := rand.New(rand.NewPCG(uint64(i), 64))
			s := stores[i%len(stores)]
			for b := range batches {
				batch := make([]ledger.Record, 1+draw.IntN(12))
				for k := range batch {
					batch[k] = altered(draw, shared[draw.IntN(len(shared))])
				}
				if b == 0 { // between them, the writers send every record
					for k := i; k < len(shared); k += writers {
						batch = append(batch, resent(shared[k]))
					}
				}
				answers, err := s.Record(context.Background(), batch, store.Change{})
				if err != nil {
					t.Errorf("writer %d: %v", i, err)
					return
				}
				outcomes.add(t, batch, answers)
			}
		})
	}
	group.Wait()
	var taken []ledger.Record
	for _, r := range shared {
		kept := outcomes.taken[r.Head().ID]
		if len(kept) != 1 {
			t.Fatalf("%s was taken %d times; expected once", ledger.RecordResource(r), len(kept))
		}
		taken = append(taken, kept[0])
	}
	for _, s := range stores {
		for i, got := range storedRecords(t, s, shared) {
			if diff := cmp.Diff(taken[i], resent(got)); diff != "" {
				t.Errorf("%s (-the one that was taken +read):\n%s", ledger.RecordResource(got), diff)
			}
		}
		var kept int64
		for _, n := range chainLengths(t, s) {
			kept += n
		}
		if kept != int64(len(shared)) {
			t.Errorf("%d records in the chains; expected %d", kept, len(shared))
		}
		q := analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.BySite, analysis.ByTreatment}}
		got, err := s.Counts(context.Background(), q)
		if diff := cmp.Diff(referenceCounts(taken, q, storetest.NewFleet()), got, given); err != nil || diff != "" {
			t.Errorf("counts, %v (-reference +got):\n%s", err, diff)
		}
	}
}

// testManyWriters has 64 clients send overlapping records at once.
func testManyWriters(t *testing.T, e storetest.Engine) {
	write(t, []*store.Store{storetest.OpenFleet(t, e.NewConfig(t))}, 64, 6)
}

// testTwoStoresOnOneDatabase opens the database twice, as two servers do, and
// writes to the same sites through both.
func testTwoStoresOnOneDatabase(t *testing.T, e storetest.Engine) {
	c := e.NewConfig(t)
	stores := []*store.Store{storetest.Open(t, c), storetest.Open(t, c)}
	registerThroughBoth(t, stores)
	write(t, stores, 16, 8)
}

// registerThroughBoth registers the fleet through both stores at once: each thing
// is taken once and known once.
func registerThroughBoth(t *testing.T, stores []*store.Store) {
	t.Helper()
	ctx := context.Background()
	f := storetest.NewFleet()
	for _, step := range []struct {
		what string
		n    int
		do   func(*store.Store) ([]store.Outcome, error)
	}{
		{"sites", len(f.Sites), func(s *store.Store) ([]store.Outcome, error) { return s.RegisterSites(ctx, f.Sites, store.Change{}) }},
		{"specifications", len(f.Specifications), func(s *store.Store) ([]store.Outcome, error) {
			return s.RegisterSpecifications(ctx, f.Specifications, store.Change{})
		}},
		{"lots", len(f.Lots), func(s *store.Store) ([]store.Outcome, error) { return s.RegisterLots(ctx, f.Lots, store.Change{}) }},
		{"tools", len(f.Tools), func(s *store.Store) ([]store.Outcome, error) { return s.RegisterTools(ctx, f.Tools, store.Change{}) }},
		{"people", len(f.People), func(s *store.Store) ([]store.Outcome, error) { return s.RegisterPeople(ctx, f.People, store.Change{}) }},
		{"towers", len(f.Towers), func(s *store.Store) ([]store.Outcome, error) { return s.RegisterTowers(ctx, f.Towers, store.Change{}) }},
		{"cells", len(f.Cells), func(s *store.Store) ([]store.Outcome, error) { return s.RegisterCells(ctx, f.Cells, store.Change{}) }},
		{"joints", len(f.Joints), func(s *store.Store) ([]store.Outcome, error) { return s.RegisterJoints(ctx, f.Joints, store.Change{}) }},
	} {
		answers := make([][]store.Outcome, len(stores))
		var group sync.WaitGroup
		for i, s := range stores {
			group.Go(func() {
				var err error
				if answers[i], err = step.do(s); err != nil {
					t.Errorf("%s through store %d: %v", step.what, i, err)
				}
			})
		}
		group.Wait()
		for k := range step.n {
			states := []store.OutcomeState{}
			for _, a := range answers {
				if len(a) == step.n {
					states = append(states, a[k].State)
				}
			}
			slices.Sort(states)
			if !slices.Equal(states, []store.OutcomeState{store.Taken, store.AlreadyKnown}) {
				t.Fatalf("%s[%d]: states %v; expected it to be taken once and known once", step.what, k, states)
			}
		}
	}
}
