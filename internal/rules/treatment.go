package rules

import (
	"fmt"
	"slices"

	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// Sources of what the trade says about threads.
var (
	gallingSource = metrology.Source{Title: "BSSA, SSAS 5.60, galling of stainless steel", Mark: metrology.Seen}
	// That locking compound needs clean, dry threads to cure is what every data
	// sheet of one says; none is named here.
	cureSource = metrology.Source{Mark: metrology.Practice}
)

func treatmentRules() []Rule {
	return []Rule{
		{
			Code: CodeTreatmentMissing, Severities: []Severity{Warn}, Kinds: tightenings, check: checkTreatmentMissing,
			Limit:    "anti-seize on stainless threads, unless the specification asks for the lubricant or locking compound used (" + gallingSource.String() + ")",
			Sentence: "Stainless threads were driven on stainless without anti-seize.",
		},
		{
			Code: CodeTreatmentConflict, Severities: []Severity{Hold}, Kinds: tightenings, check: checkTreatmentConflict,
			Limit:    "never both on the same threads (" + cureSource.String() + ")",
			Sentence: "Thread-locking compound and anti-seize meet on the same threads: the compound will not cure to strength.",
		},
		{
			Code: CodeLockingMissing, Severities: []Severity{Hold}, Kinds: tightenings, check: checkLockingMissing,
			Limit:    "the specification's locking method, where that is thread-locking compound",
			Sentence: "A critical joint was tightened without the thread-locking compound that its specification names.",
		},
		{
			Code: CodeImpactFinal, Severities: []Severity{Hold}, Kinds: tightenings, check: checkImpactFinal,
			Limit:    "the specification's demand for a torque tool",
			Sentence: "Final torque was taken with an impact wrench where the specification asks for a torque tool.",
		},
	}
}

// checkTreatmentMissing takes the nut to be of the bolt's material, as a lot is
// delivered. A specification that asks for another lubricant, or for locking
// compound, has decided the matter for threads that carry it; a prevailing-torque
// nut slides no better than a plain one.
func checkTreatmentMissing(f *Facts) []Finding {
	r, ok := f.tightening()
	fastener, known := f.fastener()
	if !ok || !known || !fastener.Material.Stainless() || r.Treatment == ledger.TreatmentAntiSeize ||
		!ledger.Treatments.Known(r.Treatment) {
		return nil
	}
	if s := f.Specification; s != nil {
		if r.Treatment == ledger.TreatmentOtherLubricant && s.Treatment == ledger.TreatmentOtherLubricant {
			return nil
		}
		if r.Treatment == ledger.TreatmentThreadLocking && locks(s) {
			return nil
		}
	}
	return one(Finding{
		Message: fmt.Sprintf("Stainless fasteners (%s) were driven with treatment %s instead of anti-seize: their threads gall.",
			ledger.Materials.Name(fastener.Material), ledger.Treatments.Name(r.Treatment)),
		Source: gallingSource.String(),
	})
}

// locks says whether the specification puts locking compound on the threads.
func locks(s *ledger.Specification) bool {
	return s.Locking == ledger.LockingCompound || s.Treatment == ledger.TreatmentThreadLocking
}

// carries says what the record puts on the threads, by its treatment or by the
// kind of the batch it names.
func (f *Facts) carries(t ledger.Treatment, k ledger.ConsumableKind) bool {
	r, ok := f.tightening()
	return ok && (r.Treatment == t || f.Batch != nil && r.CompoundBatch != "" && f.Batch.Kind == k)
}

// checkTreatmentConflict fires when the record carries both, or carries one and
// an earlier tightening of the joint the other, or carries anti-seize where the
// specification puts locking compound.
func checkTreatmentConflict(f *Facts) []Finding {
	r, ok := f.tightening()
	if !ok {
		return nil
	}
	antiSeize := f.carries(ledger.TreatmentAntiSeize, ledger.ConsumableAntiSeize)
	compound := f.carries(ledger.TreatmentThreadLocking, ledger.ConsumableThreadLocking)
	finding := Finding{Source: cureSource.String()}
	const uncured = ": the compound will not cure to strength"
	switch {
	case antiSeize && compound:
		finding.Message = fmt.Sprintf("The record says treatment %s and names a batch of %s%s.",
			ledger.Treatments.Name(r.Treatment), ledger.ConsumableKinds.Name(f.Batch.Kind), uncured)
	case antiSeize && f.Specification != nil && locks(f.Specification):
		finding.Message = fmt.Sprintf("The threads carry anti-seize and specification %s locks them with thread-locking compound%s.",
			f.Specification.Code, uncured)
	case antiSeize && slices.Contains(f.EarlierTreatments, ledger.TreatmentThreadLocking):
		finding.Message = "The threads carry anti-seize and an earlier tightening of the joint put thread-locking compound on them" + uncured + "."
	case compound && slices.Contains(f.EarlierTreatments, ledger.TreatmentAntiSeize):
		finding.Message = "Thread-locking compound was put on threads that carry anti-seize from an earlier tightening of the joint" + uncured + "."
	default:
		return nil
	}
	return one(finding)
}

// checkLockingMissing judges locking compound alone. Whether a nut was a
// prevailing-torque one, or a lock washer or a jam nut was fitted, the record
// can't tell beside its one treatment, so those are never reported.
func checkLockingMissing(f *Facts) []Finding {
	r, ok := f.tightening()
	s := f.Specification
	if !ok || s == nil || f.Joint == nil || !f.Joint.Critical || s.Locking != ledger.LockingCompound ||
		!ledger.Treatments.Known(r.Treatment) || r.Treatment == ledger.TreatmentThreadLocking {
		return nil
	}
	return one(Finding{
		Message: fmt.Sprintf("Joint %s is critical and specification %s locks it with thread-locking compound, but the record says treatment %s.",
			f.Joint.Place, s.Code, ledger.Treatments.Name(r.Treatment)),
		Source: f.specified(),
	})
}

// checkImpactFinal judges the passes that leave the final torque. A first pass
// with an impact wrench is allowed, since a final one may follow.
func checkImpactFinal(f *Facts) []Finding {
	r, ok := f.tightening()
	s := f.Specification
	if !ok || s == nil || !s.TorqueToolRequired || r.Pass != ledger.PassFinal && r.Pass != ledger.PassRetightening {
		return nil
	}
	byTool := f.Tool != nil && r.Tool != "" && f.Tool.Kind == ledger.ToolImpactWrench
	if r.Method != ledger.DrivenByImpact && !(byTool && r.Method != ledger.DrivenByImpactThenTorqueTool) {
		return nil
	}
	return one(Finding{
		Message: fmt.Sprintf("The %s pass was driven with an impact wrench, but specification %s asks for a torque tool.",
			ledger.Passes.Name(r.Pass), s.Code),
		Source: f.specified(),
	})
}
