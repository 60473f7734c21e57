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

// testLotStock follows one lot by hand: what came, went, was used and was
// counted, at each site for itself.
func testLotStock(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	at := func(day int) time.Time { return storetest.Occurred.AddDate(0, 0, day) }
	movement := func(site string, day int, kind ledger.MovementKind, quantity int64) ledger.Record {
		return storetest.NewLotMovement(storetest.StainlessLot, site, func(r *ledger.LotMovement) { r.OccurTime, r.Kind, r.Quantity = at(day), kind, quantity })
	}
	used := func(joint string, day, n int, pass ledger.Pass) ledger.Record {
		return storetest.NewTightening(joint, func(r *ledger.Tightening) { r.OccurTime, r.Fasteners, r.Pass = at(day), n, pass })
	}
	lost := func(joint string, day, n int, kind ledger.IncidentKind) ledger.Record {
		return storetest.NewIncident(kind, joint, func(r *ledger.Incident) { r.OccurTime, r.Fasteners = at(day), n })
	}
	steps := []struct {
		what    string
		records []ledger.Record
		want    []ledger.LotStock
	}{
		{"nothing came", nil, nil},
		{"used before anything came", []ledger.Record{used(storetest.DenverJoint, 3, 24, ledger.PassFirst)},
			[]ledger.LotStock{{Site: "RVB", Used: 24, OnHand: -24}}},
		{"came, went, went back, was scrapped", []ledger.Record{
			movement("RVB", 1, ledger.MovementReceived, 500), movement("RVB", 4, ledger.MovementSent, 100),
			movement("RVB", 5, ledger.MovementReturned, 30), movement("RVB", 6, ledger.MovementScrapped, 7), movement("KVR", 6, ledger.MovementReceived, 100),
		}, []ledger.LotStock{{Site: "KVR", Received: 100, OnHand: 100}, {Site: "RVB", Received: 500, Removed: 137, Used: 24, OnHand: 339}}},
		{"lost to thread failures; later passes and leaks use nothing", []ledger.Record{
			lost(storetest.DenverJoint, 7, 3, ledger.Galling), lost(storetest.DenverJoint, 7, 2, ledger.BrokenFastener), lost(storetest.DenverJoint, 7, 9, ledger.Leak),
			used(storetest.DenverJoint, 7, 24, ledger.PassFinal), used(storetest.DenverJoint, 7, 24, ledger.PassRetightening),
		}, []ledger.LotStock{{Site: "KVR", Received: 100, OnHand: 100}, {Site: "RVB", Received: 500, Removed: 137, Used: 29, OnHand: 334}}},
		{"counted: what was found, and what followed", []ledger.Record{
			movement("RVB", 10, ledger.MovementCounted, 300), used(storetest.DenverJoint, 11, 8, ledger.PassFirst), movement("RVB", 12, ledger.MovementReceived, 50),
		}, []ledger.LotStock{{Site: "KVR", Received: 100, OnHand: 100}, {Site: "RVB", Received: 550, Removed: 137, Used: 37, OnHand: 342}}},
		{"a record of the time before the count comes late: the count has seen it", []ledger.Record{used(storetest.DenverJoint, 9, 4, ledger.PassFirst)},
			[]ledger.LotStock{{Site: "KVR", Received: 100, OnHand: 100}, {Site: "RVB", Received: 550, Removed: 137, Used: 41, OnHand: 342}}},
		{"an older count comes late: the newest holds", []ledger.Record{movement("RVB", 8, ledger.MovementCounted, 5)},
			[]ledger.LotStock{{Site: "KVR", Received: 100, OnHand: 100}, {Site: "RVB", Received: 550, Removed: 137, Used: 41, OnHand: 342}}},
		{"counted at nothing, and used all the same", []ledger.Record{movement("KVR", 20, ledger.MovementCounted, 0), used(storetest.KolkataJoint, 21, 6, ledger.PassFirst)},
			[]ledger.LotStock{{Site: "KVR", Received: 100, Used: 6, OnHand: -6}, {Site: "RVB", Received: 550, Removed: 137, Used: 41, OnHand: 342}}},
	}
	for _, step := range steps {
		storetest.Record(t, s, step.records...)
		outcomes, err := s.Record(ctx, resentAll(step.records), store.Change{})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range outcomes {
			if o.State != store.AlreadyKnown {
				t.Errorf("%s: sent again, state %d, %v", step.what, o.State, o.Err)
			}
		}
		got, err := s.LotStock(ctx, storetest.StainlessLot)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(step.want, got, given); diff != "" {
			t.Errorf("%s (-want +got):\n%s", step.what, diff)
		}
	}
	if got, err := s.LotStock(ctx, storetest.GalvanizedLot); err != nil || len(got) > 0 {
		t.Errorf("another lot has stock %v, %v", got, err)
	}
	_, err := s.LotStock(ctx, "M10-316-4477")
	wantUnknown(t, err, "lots/M10-316-4477", storetest.StainlessLot)
}
