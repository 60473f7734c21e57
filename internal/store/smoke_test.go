package store_test

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store/storetest"
)

// testFleetWithRecords is the shortest way through the store: a fleet, one
// record of each kind, and every question once.
func testFleetWithRecords(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	records := []ledger.Record{
		storetest.NewLotMovement(storetest.StainlessLot, storetest.Denver),
		storetest.NewCalibration(storetest.DenverWrench),
		storetest.NewTightening(storetest.DenverJoint),
		storetest.NewTightening(storetest.KolkataJoint),
		storetest.NewIncident(ledger.Galling, storetest.DenverJoint),
	}
	storetest.Record(t, s, records...)
	for _, r := range records {
		got, err := s.FindRecord(ctx, r.RecordKind(), r.Head().ID)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(r, got); diff != "" {
			t.Errorf("%s (-kept +read):\n%s", ledger.RecordResource(r), diff)
		}
	}
	counts, err := s.Counts(ctx, analysis.CountQuery{GroupBy: []analysis.Grouping{analysis.BySite, analysis.ByMonth}})
	if err != nil {
		t.Fatal(err)
	}
	want := []analysis.Count{{Values: []string{"KVR", "2026-03"}, Tightened: 8}, {Values: []string{"RVB", "2026-03"}, Tightened: 8}}
	want[1].Incidents[ledger.Galling] = 1
	if diff := cmp.Diff(want, counts); diff != "" {
		t.Errorf("counts (-want +got):\n%s", diff)
	}
	stock, err := s.LotStock(ctx, storetest.StainlessLot)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]ledger.LotStock{{Site: "KVR", Used: 8, OnHand: -8}, {Site: "RVB", Received: 1000, Used: 9, OnHand: 991}}, stock); diff != "" {
		t.Errorf("stock (-want +got):\n%s", diff)
	}
	due, err := s.DueInputs(ctx, analysis.DueQuery{AsOf: storetest.Occurred})
	if err != nil || len(due) != 3 {
		t.Errorf("due inputs: %d tools, %v", len(due), err)
	}
	report, err := s.Verify(ctx)
	if err != nil || !report.OK() {
		t.Errorf("verify: %+v, %v", report, err)
	}
}
