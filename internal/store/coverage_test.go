package store_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// Each cell of the fleet has a joint of 24 fasteners at 32 N.m, one of 8 at 150
// and a seam of 40 at 4.5 with a sealant.
func TestCoverageInput(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		before := d.now
		d.tighten(structural, 24)
		d.tighten(mechanical, 3)
		mistaken := d.tighten("RVB/CT1/C2/J001", 24)
		d.correct(mistaken, nil)
		d.tighten("RVB/CT1/C2/J002", 8, func(r *ledger.Tightening) { r.Pass = ledger.PassRetightening })
		d.tighten(seam, 40) // without its seal: it must be opened again
		d.seal("RVB/CT2/C1/J003")
		d.tighten("RVB/CT2/C1/J003", 39)
		halfway := d.now
		d.seal(seam)
		d.tighten("RVB/CT2/C1/J003", 1)

		remaining := func(asOf time.Time) map[string][]analysis.RemainingJoints {
			t.Helper()
			in, err := d.s.CoverageInput(ctx, asOf, []string{storetest.Denver})
			if err != nil {
				t.Fatal(err)
			}
			got := map[string][]analysis.RemainingJoints{}
			for _, s := range in.Sites {
				for _, tower := range s.Towers {
					if tower.PlannedStart != "2026-01-12" || tower.PlannedFinish != "2026-11-30" {
						t.Errorf("%s/%s planned from %q to %q", s.Code, tower.Tower, tower.PlannedStart, tower.PlannedFinish)
					}
					got[s.Code+"/"+tower.Tower] = tower.Remaining
				}
			}
			zones := mapped(in.Sites, func(s analysis.CoverageSite) string { return s.Code + " " + s.Location.String() })
			if diff := cmp.Diff([]string{"KVR Asia/Kolkata", "RVB America/Denver"}, zones); diff != "" {
				t.Error(diff)
			}
			serials := mapped(in.Tools, func(v analysis.TrackedTool) string { return v.Due.Tool.Serial })
			if diff := cmp.Diff([]string{storetest.DenverWrench, storetest.KolkataWrench}, serials); diff != "" {
				t.Errorf("torque tools, of all sites (-want +got):\n%s", diff)
			}
			return got
		}
		cell := func(n int64) []analysis.RemainingJoints { return left(n, 40*n, n, 24*n, n, 8*n) }
		for what, c := range map[string]struct {
			asOf time.Time
			want map[string][]analysis.RemainingJoints
		}{
			"before anything": {before, map[string][]analysis.RemainingJoints{"RVB/CT1": cell(2), "RVB/CT2": cell(1), "KVR/CT1": cell(1)}},
			"halfway": {halfway, map[string][]analysis.RemainingJoints{
				"RVB/CT1": left(2, 80, 1, 24, 2, 13), "RVB/CT2": left(1, 1, 1, 24, 1, 8), "KVR/CT1": cell(1),
			}},
			"at the end": {d.now, map[string][]analysis.RemainingJoints{
				"RVB/CT1": left(1, 40, 1, 24, 2, 13), "RVB/CT2": left(0, 0, 1, 24, 1, 8), "KVR/CT1": cell(1),
			}},
		} {
			if diff := cmp.Diff(c.want, remaining(c.asOf)); diff != "" {
				t.Errorf("%s (-want +got):\n%s", what, diff)
			}
		}
		agreesWithStates(t, d.s, remaining(d.now))
		_, err := d.s.CoverageInput(ctx, d.now, []string{storetest.Denver, "RVX"})
		wantUnknown(t, err, "sites/RVX", storetest.Denver)
	})
}

// left are remaining joints and fasteners at 4.5, 32 and 150 N.m.
func left(seams, seamFasteners, structurals, structuralFasteners, mechanicals, mechanicalFasteners int64) []analysis.RemainingJoints {
	all := []analysis.RemainingJoints{
		{TorqueNewtonMetres: 4.5, TolerancePercent: 20, Joints: seams, Fasteners: seamFasteners},
		{TorqueNewtonMetres: 32, TolerancePercent: 10, Joints: structurals, Fasteners: structuralFasteners},
		{TorqueNewtonMetres: 150, TolerancePercent: 15, Joints: mechanicals, Fasteners: mechanicalFasteners},
	}
	return slices.DeleteFunc(all, func(r analysis.RemainingJoints) bool { return r.Joints == 0 })
}

// agreesWithStates counts the joints again by their derived states.
func agreesWithStates(t *testing.T, s *store.Store, got map[string][]analysis.RemainingJoints) {
	t.Helper()
	states, _, err := s.JointStates(context.Background(), ledger.Place{}, false, store.Page{Size: 1000})
	if err != nil {
		t.Fatal(err)
	}
	want := map[string]int64{}
	for _, j := range states {
		if j.State < ledger.JointTightened {
			want[j.Joint.Place.Parent().Parent().String()]++
		}
	}
	for tower, remaining := range got {
		var n int64
		for _, r := range remaining {
			n += r.Joints
		}
		if n != want[tower] {
			t.Errorf("%s: %d joints remain, %d by their states", tower, n, want[tower])
		}
	}
}

func TestReadyInput(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		d := newDiary(t, e)
		if _, err := d.s.UpdateTower(ctx, d.place("RVB/CT2"), 0, store.Change{}, func(v *ledger.Tower) error { v.PlannedFinish = ""; return nil }); err != nil {
			t.Fatal(err)
		}
		d.keep(&ledger.Custody{Tool: storetest.KolkataWrench, Kind: ledger.CustodyReceived, Site: storetest.Denver})
		for _, c := range []struct {
			place, finish, zone string
			kinds               []ledger.ToolKind
			tools               []string
		}{
			{"RVB", "2026-11-30", "America/Denver", []ledger.ToolKind{ledger.ToolTorqueWrench, ledger.ToolTorqueWrench}, []string{storetest.DenverWrench, storetest.KolkataWrench}},
			{"RVB/CT2", "", "America/Denver", []ledger.ToolKind{ledger.ToolImpactWrench}, []string{storetest.ImpactWrench}},
			{"RVB/CT1/C2", "2026-11-30", "America/Denver", []ledger.ToolKind{ledger.ToolHoist}, []string{}},
			{"KVR/CT1", "2026-11-30", "Asia/Kolkata", []ledger.ToolKind{ledger.ToolTorqueWrench}, []string{storetest.KolkataWrench}},
		} {
			in, err := d.s.ReadyInput(ctx, d.place(c.place), c.kinds, d.now)
			if err != nil {
				t.Fatal(err)
			}
			serials := mapped(in.Tools, func(v analysis.TrackedTool) string { return v.Due.Tool.Serial })
			if in.PlannedFinish != c.finish || in.Location.String() != c.zone || !slices.Equal(serials, c.tools) {
				t.Errorf("%s: finish %q, zone %s, tools %v", c.place, in.PlannedFinish, in.Location, serials)
			}
		}
		_, err := d.s.ReadyInput(ctx, d.place("RVB/CT9"), nil, d.now)
		wantUnknown(t, err, "sites/RVB/towers/CT9", "CT1")
	})
}
