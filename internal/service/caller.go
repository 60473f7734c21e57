package service

import (
	"context"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// recordActions are what recording one of each kind takes.
var recordActions = map[ledger.RecordKind]access.Action{
	ledger.KindTightening: access.RecordWork, ledger.KindIncident: access.RecordWork, ledger.KindSealing: access.RecordWork,
	ledger.KindInspection: access.Inspect, ledger.KindCustody: access.KeepTools, ledger.KindToolCheck: access.KeepTools,
	ledger.KindCalibration: access.Calibrate, ledger.KindLotMovement: access.MoveLots,
	ledger.KindHold: access.Hold, ledger.KindDisposition: access.Decide, ledger.KindSignOff: access.SignOff,
	ledger.KindCorrection: access.Correct,
}

// actionOf gives what a record takes: a release of a hold is a decision, placing one
// is everybody's.
func actionOf(r ledger.Record) access.Action {
	if h, ok := r.(*ledger.Hold); ok && h.Action == ledger.HoldReleased {
		return access.Decide
	}
	return recordActions[r.RecordKind()]
}

// callerOf tells the store what the caller of this call may do at the sites that only
// the store knows: of the record that a correction is about, for one. Nil for a caller
// who may do everything.
func callerOf(ctx context.Context) *store.Caller {
	p, ok := access.From(ctx)
	if ok && p.Unlimited() {
		return nil
	}
	return &store.Caller{
		Sees: p.Visible(),
		May: func(r ledger.Record, site string) error {
			a := actionOf(r)
			if a == access.Calibrate {
				// A tool goes from site to site, and is calibrated where it is; the record
				// stands in the chain of its home.
				return access.Allow(ctx, a)
			}
			return access.AllowAt(ctx, a, site)
		},
		MayCorrect: func(kind ledger.RecordKind, site string) error {
			if !likeMaking[kind] {
				return nil
			}
			return access.AllowAt(ctx, recordActions[kind], site)
		},
	}
}

// likeMaking are the kinds of which it takes as much to correct one as to add one: who may
// not sign off does not take a sign-off back, and who may not calibrate does not make a
// wrench fit by withdrawing the calibration that it failed. Work on joints is corrected
// by all who may correct, since they see what is wrong with it.
var likeMaking = map[ledger.RecordKind]bool{
	ledger.KindSignOff: true, ledger.KindCalibration: true, ledger.KindToolCheck: true, ledger.KindCustody: true, ledger.KindLotMovement: true,
}
