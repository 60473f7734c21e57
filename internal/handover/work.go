package handover

import (
	"fmt"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// unproven names what a first-pass tightening leaves out that shows the torque
// that was reached: the tool, the torque. Empty where both are on record, and
// where neither has to be: a joint that is not critical and has no torque to be
// tightened to. Going over a joint again brings no fastener to torque that was
// not there.
func unproven(j Joint, r *ledger.Tightening) string {
	if r.Pass != ledger.PassFirst || !j.Critical && j.Torque.TargetNewtonMetres <= 0 {
		return ""
	}
	switch {
	case r.Tool == "" && r.TorqueNewtonMetres == nil:
		return "tool and no torque"
	case r.Tool == "":
		return "tool"
	case r.TorqueNewtonMetres == nil:
		return "torque"
	}
	return ""
}

// unsealed says what is the matter with the sealing of a joint: one with another
// sealant than the specified does not count. Empty where it is in order or none
// is specified.
func unsealed(j Joint, b *book) string {
	if j.Sealant == "" {
		return ""
	}
	for _, r := range b.sealings {
		if rules.SameSealant(r.Sealant, j.Sealant) {
			return ""
		}
	}
	if len(b.sealings) == 0 {
		return fmt.Sprintf("no sealing is on record; specification %s names %s", j.Specification, j.Sealant)
	}
	newest := b.sealings[len(b.sealings)-1]
	return fmt.Sprintf("sealed with %s; specification %s names %s", newest.Sealant, j.Specification, j.Sealant)
}

// unsound says why the newest inspection of a kind shows no joint in order: it
// failed, or it is a torque audit that says pass without a reading or over
// readings outside the window. Empty where it is sound, and where somebody with
// the authority has released the hold for such readings.
func unsound(j Joint, b *book, i *ledger.Inspection) string {
	what := fmt.Sprintf("its newest %s, on %s,", inspectionWords(i.Kind), date(i))
	if i.Result != ledger.InspectionPass {
		return what + " failed"
	}
	if i.Kind != ledger.TorqueAudit {
		return ""
	}
	readings := len(i.ReadingsNewtonMetres)
	if readings == 0 {
		return what + " passed and has no readings"
	}
	outside, _, _ := j.Torque.Outside(i.ReadingsNewtonMetres)
	if outside == 0 || b.releasedSince(i, rules.CodeAuditWindow) {
		return ""
	}
	return fmt.Sprintf("%s passed with %d of %d readings outside the window of specification %s, %s", what, outside, readings, j.Specification, j.Torque)
}
