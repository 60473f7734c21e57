package store_test

import (
	"context"
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// What one server remembers of the register, another one changes: the first must
// judge the next record by what holds now. Each change is made after the first
// server has judged a record, and so remembers.
func TestServersSeeEachOthersRegister(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		ctx := context.Background()
		c := e.NewConfig(t)
		one := storetest.OpenFleet(t, c)
		two := storetest.Open(t, c)
		minute := 0
		next := func(changes ...func(*ledger.Tightening)) []rules.Finding {
			t.Helper()
			minute++
			later := func(r *ledger.Tightening) { r.OccurTime = r.OccurTime.Add(time.Duration(minute) * time.Minute) }
			return keep(t, one, storetest.NewTightening(storetest.DenverJoint, append(changes, later)...))[0]
		}
		seen := func(what, rule string, want bool, found []rules.Finding) {
			t.Helper()
			if broken(found, rule) != want {
				t.Errorf("%s: %s is %v; expected %v: %+v", what, rule, !want, want, found)
			}
		}
		before := storetest.Occurred.Add(-time.Hour)

		seen("at first", rules.CodeLotHeld, false, next())
		keep(t, two, &ledger.Hold{Entry: lead(before), Action: ledger.HoldPlaced, Site: storetest.Denver, Lot: storetest.StainlessLot, Reason: "heads crack"})
		seen("lot held", rules.CodeLotHeld, true, next())

		keep(t, two, &ledger.Hold{Entry: lead(before), Action: ledger.HoldPlaced, Site: storetest.Denver, Tool: storetest.DenverWrench, Reason: "grip loose"})
		seen("tool held", rules.CodeToolHeld, true, next())

		seen("never calibrated", rules.CodeCalibrationUnknown, true, next())
		keep(t, two, storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.OccurTime = before }))
		seen("calibrated", rules.CodeCalibrationUnknown, false, next())

		keep(t, two, storetest.NewIncident(ledger.DroppedTool, storetest.DenverJoint, func(r *ledger.Incident) { r.OccurTime = before.Add(time.Minute) }))
		seen("dropped", rules.CodeCalibrationLapsed, true, next())

		seen("with a qualification", rules.CodePersonUnqualified, false, next())
		if _, err := two.UpdatePerson(ctx, storetest.DenverPerson, 0, store.Change{}, func(p *ledger.Person) error {
			p.Qualifications = nil
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		seen("without", rules.CodePersonUnqualified, true, next())

		seen("in the window", rules.CodeTorqueWindow, false, next())
		if _, err := two.UpdateSpecification(ctx, storetest.Stainless, 0, store.Change{}, func(s *ledger.Specification) error {
			s.TorqueNewtonMetres *= 2
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		now := func(r *ledger.Tightening) {
			r.OccurTime = ledger.Microseconds(time.Now()).Add(-time.Duration(minute) * time.Minute)
		}
		seen("under the new revision", rules.CodeTorqueWindow, true, next(now))
		soundReport(t, one)
	})
}
