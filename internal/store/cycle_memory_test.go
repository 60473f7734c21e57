package store_test

import (
	"context"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// Whether the cycles of a wrench are used up is found as by counting its tightenings one
// by one, whichever of two servers took them in, in what order, and how many at once;
// after calibrations, and after corrections, which take some back.
func TestCyclesAsCountedOneByOne(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		const interval, fasteners = 100, 8
		c := e.NewConfig(t)
		servers := []*store.Store{storetest.OpenFleet(t, c), storetest.Open(t, c)}
		if _, err := servers[0].UpdateTool(context.Background(), storetest.DenverWrench, 0, store.Change{}, func(tool *ledger.Tool) error {
			tool.IntervalMonths, tool.IntervalCycles = 0, interval
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		chance := rand.New(rand.NewPCG(7, 11))
		now := storetest.Occurred
		calibrated := []time.Time{now.Add(-time.Minute)}
		keep(t, servers[0], storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.OccurTime = calibrated[0] }))
		var kept []*ledger.Tightening
		usedBefore := func(at time.Time) (n int64) {
			since := calibrated[0]
			for _, c := range calibrated {
				if !c.After(at) {
					since = c
				}
			}
			for _, r := range kept {
				if r.OccurTime.After(since) && r.OccurTime.Before(at) {
					n += int64(r.Fasteners)
				}
			}
			return n
		}
		over, within := 0, 0
		for range 90 {
			s := servers[chance.IntN(2)]
			now = now.Add(time.Duration(1+chance.IntN(50)) * time.Minute)
			switch drawn := chance.IntN(10); {
			case drawn == 0 && usedBefore(now) >= interval:
				calibrated = append(calibrated, now)
				keep(t, s, storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.OccurTime = now }))
			case drawn == 1 && len(kept) > 0:
				i := chance.IntN(len(kept))
				correction := replace(kept[i], func(r *ledger.Tightening) { r.Fasteners = fasteners / 2 })
				correction.OccurTime = now
				keep(t, s, correction)
				kept[i] = correction.With.(*ledger.Tightening)
			default:
				batch := make([]ledger.Record, 1+chance.IntN(3))
				for i := range batch {
					// One in four was written down late.
					at := now.Add(time.Duration(i) * time.Second)
					if chance.IntN(4) == 0 {
						at = at.Add(-time.Duration(chance.IntN(5)) * time.Hour)
					}
					batch[i] = storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.OccurTime, r.Fasteners = at, fasteners })
				}
				for i, findings := range keep(t, s, batch...) {
					r := batch[i].(*ledger.Tightening)
					used := usedBefore(r.OccurTime)
					found := false
					for _, f := range findings {
						found = found || strings.Contains(f.Message, "cycles")
					}
					if want := used >= interval && !r.OccurTime.Before(calibrated[0]); found != want {
						t.Fatalf("after %d fasteners of %d, at %v: found %v; expected %v: %+v", used, interval, r.OccurTime, found, want, findings)
					}
					if found {
						over++
					} else {
						within++
					}
					kept = append(kept, r)
				}
			}
		}
		if over < 10 || within < 10 || len(calibrated) < 2 {
			t.Errorf("%d over, %d within, %d calibrations: the chance of this test proves nothing", over, within, len(calibrated))
		}
		soundReport(t, servers[0])
	})
}

// Where a policy of another action has an interval in cycles too, an issue of the tool is
// judged by how many there were since its calibration, and by no more: not by those before
// it, nor by those after an issue that was written down late.
func TestCyclesOfAPolicyAreCounted(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		if _, err := s.UpdateTool(context.Background(), storetest.DenverWrench, 0, store.Change{}, func(tool *ledger.Tool) error {
			tool.IntervalMonths, tool.IntervalCycles = 0, 5000
			tool.Policies = []ledger.Policy{{Action: ledger.ActionPeriodicInspection, Cycles: 1000}}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		at := func(hours int) time.Time { return storetest.Occurred.Add(time.Duration(hours) * time.Hour) }
		used := func(hours, fasteners int) {
			t.Helper()
			keep(t, s, storetest.NewTightening(storetest.DenverJoint, func(r *ledger.Tightening) { r.OccurTime, r.Fasteners = at(hours), fasteners }))
		}
		calibrated := func(hours int) {
			t.Helper()
			keep(t, s, storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.OccurTime = at(hours) }),
				storetest.NewToolCheck(storetest.DenverWrench, func(r *ledger.ToolCheck) {
					r.OccurTime, r.Action = at(hours).Add(time.Minute), ledger.ActionPeriodicInspection
				}))
		}
		issued := func(what string, hours int, want bool) {
			t.Helper()
			found := keep(t, s, &ledger.Custody{Entry: lead(at(hours)), Tool: storetest.DenverWrench, Site: storetest.Denver, Kind: ledger.CustodyIssued, Holder: storetest.DenverPerson})[0]
			got := false
			for _, f := range found {
				got = got || strings.Contains(f.Message, "cycles used since the periodic inspection")
			}
			if got != want {
				t.Errorf("%s: found %v; expected %v: %+v", what, got, want, found)
			}
		}
		calibrated(-200)
		used(-190, 3000)
		used(-180, 1)
		calibrated(-100)
		used(-90, 200)
		issued("200 of 1000", -80, false)
		used(-70, 900)
		issued("1100 of 1000", -60, true)
		issued("200 of 1000, written down late", -75, false)
		soundReport(t, s)
	})
}
