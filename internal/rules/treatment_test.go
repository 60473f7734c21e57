package rules_test

import (
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

func TestTreatmentMissing(t *testing.T) {
	carries := func(v ledger.Treatment) func(*rules.Facts) { return func(f *rules.Facts) { treat(f, v) } }
	run(t, "treatment-missing", []scene{
		{name: "anti-seize", facts: tightened},
		{name: "none", facts: tightened, change: carries(ledger.TreatmentNone), severity: "warn", says: "gall"},
		{name: "a prevailing-torque nut", facts: tightened, change: carries(ledger.TreatmentPrevailingTorqueNut), severity: "warn"},
		{name: "other lubricant", facts: tightened, change: carries(ledger.TreatmentOtherLubricant), severity: "warn"},
		{name: "other lubricant as specified", facts: tightened, change: func(f *rules.Facts) {
			carries(ledger.TreatmentOtherLubricant)(f)
			f.Specification.Treatment = ledger.TreatmentOtherLubricant
		}},
		{name: "locking compound as specified", facts: tightened, change: func(f *rules.Facts) {
			carries(ledger.TreatmentThreadLocking)(f)
			f.Specification.Locking = ledger.LockingCompound
		}},
		{name: "none as specified", facts: tightened, change: func(f *rules.Facts) {
			carries(ledger.TreatmentNone)(f)
			f.Specification.Treatment = ledger.TreatmentNone
		}, severity: "warn"},
		{name: "316 without its specification", facts: tightened, change: func(f *rules.Facts) {
			carries(ledger.TreatmentNone)(f)
			f.Specification, f.Lot.Fastener.Material = nil, ledger.Stainless316
		}, severity: "warn", says: "316"},
		{name: "the lot decides", facts: tightened, change: func(f *rules.Facts) {
			carries(ledger.TreatmentNone)(f)
			f.Lot.Fastener.Material = ledger.GalvanizedSteel
		}},
		{name: "without the lot, the specification", facts: tightened, change: func(f *rules.Facts) {
			carries(ledger.TreatmentNone)(f)
			f.Lot = nil
		}, severity: "warn"},
		{name: "neither known", facts: tightened, change: func(f *rules.Facts) {
			carries(ledger.TreatmentNone)(f)
			f.Lot, f.Specification = nil, nil
		}},
		{name: "treatment not given", facts: tightened, change: carries(0)},
	})
}

func TestTreatmentConflict(t *testing.T) {
	locking := &ledger.Batch{Number: "TL-1", Kind: ledger.ConsumableThreadLocking, ExpireDate: "2027-01-01"}
	run(t, "treatment-conflict", []scene{
		{name: "anti-seize where nothing locks", facts: tightened},
		{name: "anti-seize where compound locks", facts: tightened, change: func(f *rules.Facts) {
			f.Specification.Locking = ledger.LockingCompound
		}, severity: "hold", says: "specification S1 locks"},
		{name: "compound where compound locks", facts: tightened, change: func(f *rules.Facts) {
			f.Specification.Locking = ledger.LockingCompound
			tightening(f).Treatment, f.Batch = ledger.TreatmentThreadLocking, locking
		}},
		{name: "none where compound locks", facts: tightened, change: func(f *rules.Facts) {
			f.Specification.Locking = ledger.LockingCompound
			tightening(f).Treatment, tightening(f).CompoundBatch, f.Batch = ledger.TreatmentNone, "", nil
		}},
		{name: "none, but with a batch of anti-seize", facts: tightened, change: func(f *rules.Facts) {
			f.Specification.Locking = ledger.LockingCompound
			tightening(f).Treatment = ledger.TreatmentNone
		}, severity: "hold"},
		{name: "anti-seize from a batch of compound", facts: tightened, change: func(f *rules.Facts) { f.Batch = locking }, severity: "hold", says: "batch of thread-locking-compound"},
		{name: "compound from a batch of anti-seize", facts: tightened, change: func(f *rules.Facts) {
			tightening(f).Treatment = ledger.TreatmentThreadLocking
		}, severity: "hold", says: "batch of anti-seize"},
		{name: "compound over anti-seize", facts: tightened, change: func(f *rules.Facts) {
			tightening(f).Treatment, f.Batch = ledger.TreatmentThreadLocking, locking
			f.EarlierTreatments = []ledger.Treatment{ledger.TreatmentNone, ledger.TreatmentAntiSeize}
		}, severity: "hold", says: "earlier tightening"},
		{name: "anti-seize over compound", facts: tightened, change: func(f *rules.Facts) {
			f.EarlierTreatments = []ledger.Treatment{ledger.TreatmentThreadLocking}
		}, severity: "hold", says: "earlier tightening"},
		{name: "anti-seize over anti-seize", facts: tightened, change: func(f *rules.Facts) {
			f.EarlierTreatments = []ledger.Treatment{ledger.TreatmentAntiSeize, ledger.TreatmentNone}
		}},
		{name: "specification not known", facts: tightened, change: func(f *rules.Facts) { f.Specification = nil }},
		{name: "batch not known", facts: tightened, change: func(f *rules.Facts) { f.Batch = nil }},
	})
}

func TestLockingMissing(t *testing.T) {
	locked := func(treatment ledger.Treatment) func(*rules.Facts) {
		return func(f *rules.Facts) {
			f.Specification.Locking, tightening(f).Treatment = ledger.LockingCompound, treatment
		}
	}
	run(t, "locking-missing", []scene{
		{name: "compound", facts: tightened, change: locked(ledger.TreatmentThreadLocking)},
		{name: "none", facts: tightened, change: locked(ledger.TreatmentNone), severity: "hold", says: "RVB/CT1/C1/J001"},
		{name: "anti-seize", facts: tightened, change: locked(ledger.TreatmentAntiSeize), severity: "hold"},
		{name: "a prevailing-torque nut instead", facts: tightened, change: locked(ledger.TreatmentPrevailingTorqueNut), severity: "hold"},
		{name: "not critical", facts: tightened, change: func(f *rules.Facts) { locked(ledger.TreatmentNone)(f); f.Joint.Critical = false }},
		{name: "locked by a nut: the record can't tell", facts: tightened, change: func(f *rules.Facts) {
			locked(ledger.TreatmentNone)(f)
			f.Specification.Locking = ledger.LockingPrevailingTorqueNut
		}},
		{name: "locked by a washer: the record can't tell", facts: tightened, change: func(f *rules.Facts) {
			locked(ledger.TreatmentNone)(f)
			f.Specification.Locking = ledger.LockingWasher
		}},
		{name: "joint not known", facts: tightened, change: func(f *rules.Facts) { locked(ledger.TreatmentNone)(f); f.Joint = nil }},
		{name: "specification not known", facts: tightened, change: func(f *rules.Facts) { locked(ledger.TreatmentNone)(f); f.Specification = nil }},
		{name: "treatment not given", facts: tightened, change: locked(0)},
	})
}

func TestImpactFinal(t *testing.T) {
	driven := func(pass ledger.Pass, method ledger.DrivingMethod, asks bool) func(*rules.Facts) {
		return func(f *rules.Facts) {
			tightening(f).Pass, tightening(f).Method, f.Specification.TorqueToolRequired = pass, method, asks
		}
	}
	run(t, "impact-final", []scene{
		{name: "final by impact", facts: tightened, change: driven(ledger.PassFinal, ledger.DrivenByImpact, true), severity: "hold", says: "final"},
		{name: "re-tightened by impact", facts: tightened, change: driven(ledger.PassRetightening, ledger.DrivenByImpact, true), severity: "hold"},
		{name: "first by impact", facts: tightened, change: driven(ledger.PassFirst, ledger.DrivenByImpact, true)},
		{name: "final by impact, then torque tool", facts: tightened, change: driven(ledger.PassFinal, ledger.DrivenByImpactThenTorqueTool, true)},
		{name: "final by hand", facts: tightened, change: driven(ledger.PassFinal, ledger.DrivenByHand, true)},
		{name: "final by hand, with an impact wrench named", facts: tightened, change: func(f *rules.Facts) {
			driven(ledger.PassFinal, ledger.DrivenByHand, true)(f)
			f.Tool.Kind = ledger.ToolImpactWrench
		}, severity: "hold"},
		{name: "no torque tool asked for", facts: tightened, change: driven(ledger.PassFinal, ledger.DrivenByImpact, false)},
		{name: "specification not known", facts: tightened, change: func(f *rules.Facts) {
			driven(ledger.PassFinal, ledger.DrivenByImpact, true)(f)
			f.Specification = nil
		}},
	})
}
