package analysis

import (
	"strings"

	"jointledger/internal/ledger"
)

// SendingError is the refusal to send a tool off from one site to another, with every
// reason; nil when it lies in the crib of the site that it leaves. What is lost, lent,
// on its way or elsewhere can't be packed, and what is there already need not be. A
// hold or a failed calibration is no reason: that is what a tool is often sent for.
func (t TrackedTool) SendingError(from, to string) error {
	serial := t.Due.Tool.Serial
	e := &ledger.Error{Kind: ledger.KindPrecondition, Reason: ledger.ReasonToolNotFit, Resource: "tools/" + serial}
	var details []string
	add := func(kind, detail string) {
		details = append(details, detail)
		e.Violations = append(e.Violations, ledger.Violation{Type: kind, Description: sentenceOf(serial, detail)})
	}
	away := t.notAt(from)
	if away != nil {
		add(violationType(away.Reason), away.Detail)
	}
	if t.lent() {
		add(violationType(RefusedLent), "lent to "+t.Custody.Holder+" on "+day(t.Custody.Since, t.Due.Location)+": take it back first")
	}
	switch moving := away != nil && away.Reason != RefusedElsewhere; {
	case !moving && t.station() == to:
		add("THERE_ALREADY", "it is at "+to+" already")
	case from == to:
		add("SAME_SITE", "the site that it leaves and the one that it is sent to are both "+to)
	}
	if len(details) == 0 {
		return nil
	}
	e.Message = "tool " + serial + " can't be sent to " + to + ": " + strings.Join(details, "; ")
	return e
}

// violationType is the word of a reason as the API has it.
func violationType(r RefusalReason) string {
	return strings.ToUpper(strings.ReplaceAll(RefusalReasons.Name(r), "-", "_"))
}
