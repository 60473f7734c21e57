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

func TestProgress(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		for tower, finish := range map[string]string{"RVB/CT1": "2026-09-30", "RVB/CT2": "2026-12-15", "KVR/CT1": ""} {
			if _, err := d.s.UpdateTower(ctx, d.place(tower), 0, store.Change{}, func(v *ledger.Tower) error { v.PlannedFinish = finish; return nil }); err != nil {
				t.Fatal(err)
			}
		}
		// The evening of 2 March in Denver is 3 March in Kolkata.
		d.now = time.Date(2026, 3, 3, 3, 0, 0, 0, time.UTC)
		d.tighten(structural, 24)
		d.tighten("KVR/CT1/C1/J001", 24, func(r *ledger.Tightening) { r.Tool = "" })
		d.tighten(mechanical, 7)
		withdrawn := d.tighten("RVB/CT1/C2/J001", 24)
		d.now = time.Date(2026, 3, 3, 7, 30, 0, 0, time.UTC) // half past midnight in Denver
		d.tighten(mechanical, 1)
		d.tighten("RVB/CT2/C1/J002", 8)
		d.seal(seam)
		d.tighten(seam, 40)
		d.inspect(seam, ledger.LeakTest, ledger.InspectionPass)
		d.signOff(mechanical, ledger.HoldPoint)
		d.correct(withdrawn, nil)
		d.hold("RVB/CT2/C1")
		d.hold(mechanical)
		d.hold(mechanical)

		for place, want := range map[string]store.Progress{
			"RVB": {
				Joints: 9, OnHold: 4, PlannedFinish: "2026-12-15",
				States: map[ledger.JointState]int64{ledger.JointPlanned: 5, ledger.JointTightened: 2, ledger.JointInspected: 1, ledger.JointAccepted: 1},
				Days:   []store.DayCount{{Day: "2026-03-02", Joints: 1}, {Day: "2026-03-03", Joints: 3}},
			},
			"RVB/CT1": {
				Joints: 6, OnHold: 1, PlannedFinish: "2026-09-30",
				States: map[ledger.JointState]int64{ledger.JointPlanned: 3, ledger.JointTightened: 1, ledger.JointInspected: 1, ledger.JointAccepted: 1},
				Days:   []store.DayCount{{Day: "2026-03-02", Joints: 1}, {Day: "2026-03-03", Joints: 2}},
			},
			"RVB/CT1/C2": {Joints: 3, PlannedFinish: "2026-09-30", States: map[ledger.JointState]int64{ledger.JointPlanned: 3}},
			"KVR": {
				Joints: 3, States: map[ledger.JointState]int64{ledger.JointPlanned: 2, ledger.JointTightened: 1},
				Days: []store.DayCount{{Day: "2026-03-03", Joints: 1}},
			},
		} {
			got, err := d.s.Progress(ctx, d.place(place))
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(want, got); diff != "" {
				t.Errorf("%s (-want +got):\n%s", place, diff)
			}
		}
		all, err := d.s.Progress(ctx, ledger.Place{})
		if err != nil || all.Joints != 12 || all.OnHold != 4 || all.PlannedFinish != "2026-12-15" {
			t.Errorf("everything: %+v, %v", all, err)
		}
		_, err = d.s.Progress(ctx, d.place("RVX"))
		wantUnknown(t, err, "sites/RVX", "RVB")
	})
}
