package store_test

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

func TestFindLot(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		unused, err := d.s.FindLot(ctx, storetest.OtherStainlessLot)
		if err != nil || unused.Lot.Number != storetest.OtherStainlessLot || unused.Stocks != nil || unused.Joints != nil || unused.Incidents != nil || unused.OpenHolds != nil {
			t.Errorf("a lot that went nowhere: %+v, %v", unused, err)
		}
		d.tighten(structural, 10)
		d.tighten(structural, 4)
		d.tighten(structural, 14, func(r *ledger.Tightening) { r.Pass = ledger.PassRetightening })
		d.tighten("KVR/CT1/C1/J001", 6)
		d.tighten(mechanical, 8)
		d.tighten("RVB/CT1/C2/J001", 3, func(r *ledger.Tightening) { r.Lot = storetest.OtherStainlessLot })
		withdrawn := d.tighten("RVB/CT2/C1/J001", 20)
		d.correct(withdrawn, nil)
		galled := d.happen(ledger.Galling, structural, func(r *ledger.Incident) { r.Fasteners = 2 })
		gap := d.happen(ledger.SealGap, structural)
		lost := d.happen(ledger.BrokenFastener, "RVB/CT1/C2/J001")
		mistaken := d.happen(ledger.Seized, structural)
		d.correct(mistaken, nil)
		d.happen(ledger.Galling, structural, func(r *ledger.Incident) { r.Lot = storetest.OtherStainlessLot })
		yard := &ledger.Incident{Kind: ledger.CoatingDamage, Site: storetest.Denver, Lot: storetest.StainlessLot, Action: "sorted out"}
		d.keep(yard)
		old := d.holdLot(storetest.StainlessLot, storetest.Kolkata)
		open := d.holdLot(storetest.StainlessLot, storetest.Denver)
		d.holdLot(storetest.GalvanizedLot, storetest.Denver)
		d.release(old)

		found, err := d.s.FindLot(ctx, storetest.StainlessLot)
		if err != nil {
			t.Fatal(err)
		}
		lot, err := d.s.Lot(ctx, storetest.StainlessLot)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(lot, found.Lot); diff != "" {
			t.Errorf("lot (-registered +found):\n%s", diff)
		}
		stocks := []ledger.LotStock{{Site: "KVR", Received: 1000, Used: 6, OnHand: 994}, {Site: "RVB", Received: 1000, Used: 17, OnHand: 983}}
		if diff := cmp.Diff(stocks, found.Stocks); diff != "" {
			t.Errorf("stocks (-want +got):\n%s", diff)
		}
		uses := []store.LotUse{
			{Joint: d.place("KVR/CT1/C1/J001"), Fasteners: 6},
			{Joint: d.place(structural), Fasteners: 14, Failures: 2},
			{Joint: d.place("RVB/CT1/C2/J001"), Failures: 1},
		}
		if diff := cmp.Diff(uses, found.Joints); diff != "" {
			t.Errorf("joints (-want +got):\n%s", diff)
		}
		incidents := mapped(found.Incidents, func(i *ledger.Incident) uuid.UUID { return i.ID })
		if diff := cmp.Diff([]uuid.UUID{galled.ID, gap.ID, lost.ID, yard.ID}, incidents); diff != "" {
			t.Errorf("incidents (-want +got):\n%s", diff)
		}
		if len(found.OpenHolds) != 1 || found.OpenHolds[0].ID != open.ID {
			t.Errorf("open holds %+v; expected %v", found.OpenHolds, open.ID)
		}
		_, err = d.s.FindLot(ctx, "M10-316-4472")
		wantUnknown(t, err, "lots/M10-316-4472", storetest.StainlessLot)
	})
}
