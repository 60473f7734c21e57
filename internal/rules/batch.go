package rules

import (
	"fmt"
	"slices"

	"jointledger/internal/ledger"
)

// namedBatch is the batch that the record names; nil when it names none or it
// is not known.
func (f *Facts) namedBatch() *ledger.Batch {
	switch r := f.Record.(type) {
	case *ledger.Tightening:
		if r.CompoundBatch != "" {
			return f.Batch
		}
	case *ledger.Sealing:
		if r.Batch != "" {
			return f.Batch
		}
	}
	return nil
}

func checkBatchExpired(f *Facts) []Finding {
	b := f.namedBatch()
	if b == nil {
		return nil
	}
	last, ok := parseDay(b.ExpireDate)
	today := f.localDay()
	if !ok || today <= last {
		return nil
	}
	return one(Finding{
		Message: fmt.Sprintf("Batch %s (%s) was used on %s, %s after its shelf life ended on %s.",
			b.Number, ledger.ConsumableKinds.Name(b.Kind), today, quantity(int64(today-last), "day"), last),
		Source: "shelf life of batch " + b.Number,
	}.against(float64(today-last), 0, "d"))
}

// treatmentBatches are the consumables that a treatment is made with; none for
// a treatment without any.
var treatmentBatches = map[ledger.Treatment][]ledger.ConsumableKind{
	ledger.TreatmentNone:                nil,
	ledger.TreatmentAntiSeize:           {ledger.ConsumableAntiSeize},
	ledger.TreatmentThreadLocking:       {ledger.ConsumableThreadLocking},
	ledger.TreatmentPrevailingTorqueNut: nil,
	ledger.TreatmentOtherLubricant:      {ledger.ConsumableLubricant},
}

var sealantBatches = []ledger.ConsumableKind{ledger.ConsumableStripSealant, ledger.ConsumableGunGradeSealant}

// sealantKinds are the sealants that records and specifications name, folded.
// The list of sealants is open: any other may come from either kind of batch.
var sealantKinds = map[string]ledger.ConsumableKind{
	"strip": ledger.ConsumableStripSealant, "stripsealant": ledger.ConsumableStripSealant,
	"gungrade": ledger.ConsumableGunGradeSealant, "gungradesealant": ledger.ConsumableGunGradeSealant,
}

// SameSealant says whether two names are of one sealant, whatever the case,
// spaces and hyphens they are written with.
func SameSealant(a, b string) bool {
	if sameWord(a, b) {
		return true
	}
	kind, known := sealantKinds[folded(a)]
	return known && kind == sealantKinds[folded(b)]
}

// checkBatchKind finds slips in the record itself. Anti-seize against locking
// compound is more than a slip and is left to the conflict of treatments.
func checkBatchKind(f *Facts) []Finding {
	b := f.namedBatch()
	if b == nil || !ledger.ConsumableKinds.Known(b.Kind) {
		return nil
	}
	var fitting []ledger.ConsumableKind
	said := ""
	switch r := f.Record.(type) {
	case *ledger.Tightening:
		kinds, known := treatmentBatches[r.Treatment]
		antiSeize := f.carries(ledger.TreatmentAntiSeize, ledger.ConsumableAntiSeize)
		if !known || antiSeize && f.carries(ledger.TreatmentThreadLocking, ledger.ConsumableThreadLocking) {
			return nil
		}
		fitting, said = kinds, "treatment "+ledger.Treatments.Name(r.Treatment)
	case *ledger.Sealing:
		fitting, said = sealantBatches, "sealant "+r.Sealant
		if k, known := sealantKinds[folded(r.Sealant)]; known {
			fitting = []ledger.ConsumableKind{k}
		}
	}
	if slices.Contains(fitting, b.Kind) {
		return nil
	}
	return one(Finding{
		Message: fmt.Sprintf("The record says %s but names batch %s, which is %s.", said, b.Number, ledger.ConsumableKinds.Name(b.Kind)),
		Source:  "kind of batch " + b.Number,
	})
}
