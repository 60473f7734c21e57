package store_test

import (
	"slices"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store/storetest"
)

// lend predicts what becomes of the issue of a tool, and gives what speaks against it in the
// API's words, in the order of the alphabet.
func (m *model) lend(r *ledger.Custody) (answer, []string) {
	switch known := m.byID[r.ID]; {
	case len(r.Validate()) > 0:
		return refusedFor(ledger.ReasonInvalidField), nil
	case known != nil:
		return m.take(r), nil
	case !m.names(r):
		return refusedFor(ledger.ReasonUnknownResource), nil
	}
	against := m.againstLending(r)
	switch {
	case len(against) > 0 && r.OverrideBy == "":
		return refusedFor(ledger.ReasonToolNotFit), against
	case len(against) > 0 && !slices.Contains(m.people[r.OverrideBy].Roles, ledger.RoleSiteLead):
		return refusedFor(ledger.ReasonPermissionDenied), nil
	}
	return m.take(r), against
}

// againstLending is what speaks against it: what the card says at that moment, but where the
// tool is and who has it as known today.
func (m *model) againstLending(r *ledger.Custody) (against []string) {
	at := r.OccurTime
	then, today := m.card(r.Tool, at), m.card(r.Tool, time.Now().AddDate(1, 0, 0))
	say := func(word string, is bool) {
		if is {
			against = append(against, word)
		}
	}
	say("ON_HOLD", len(then.held) > 0)
	say("LOST", today.is(ledger.CustodyLost))
	say("IN_TRANSIT", today.is(ledger.CustodySent))
	say("AT_ANOTHER_SITE", today.site() != r.Site && !today.is(ledger.CustodyLost) && !today.is(ledger.CustodySent))
	say("LENT", today.holder() != "")

	policies := then.policies()
	calibrated, failed := then.calibrated()
	proved := true
	if then.tool.Kind == ledger.ToolTorqueWrench { // of the machine's tools the one that measures
		say("NEVER_DONE", calibrated.IsZero())
		say("FAILED", failed)
		proved = !calibrated.IsZero() && !failed
	}
	for _, action := range []ledger.PolicyAction{ledger.ActionPeriodicInspection, ledger.ActionProofTest, ledger.ActionPreUseCheck} {
		checked, failed := then.done(action)
		asked := slices.ContainsFunc(policies, func(p ledger.Policy) bool { return p.Action == action })
		say("FAILED", failed && !asked && !calibrated.After(checked))
	}
	for _, p := range policies {
		line, found := then.due(p, at)
		if !found || p.Action == ledger.ActionCalibration && !proved {
			continue
		}
		switch line.Reason {
		case analysis.DueByShift:
			// The check is made before use.
		case analysis.DueNeverDone, analysis.DueNeverCalibrated:
			say("NEVER_DONE", true)
		case analysis.DueFailed, analysis.DueCalibrationFailed:
			say("FAILED", true)
		default:
			say("DUE", line.PastDue)
		}
	}
	slices.Sort(against)
	return against
}

// sendOff predicts what becomes of sending a tool to another site, with what speaks against
// it as lend does.
func (m *model) sendOff(r *ledger.Custody, to string) (answer, []string) {
	switch known := m.byID[r.ID]; {
	case len(r.Validate()) > 0:
		return refusedFor(ledger.ReasonInvalidField), nil
	case known != nil:
		return m.take(r), nil
	case !m.names(r) || to != storetest.Denver && to != storetest.Kolkata:
		return refusedFor(ledger.ReasonUnknownResource), nil
	}
	var against []string
	today := m.card(r.Tool, time.Now().AddDate(1, 0, 0))
	lost, away := today.is(ledger.CustodyLost), today.is(ledger.CustodySent)
	switch {
	case lost:
		against = append(against, "LOST")
	case away:
		against = append(against, "IN_TRANSIT")
	case today.site() != r.Site:
		against = append(against, "AT_ANOTHER_SITE")
	}
	if today.holder() != "" {
		against = append(against, "LENT")
	}
	switch {
	case !lost && !away && today.site() == to:
		against = append(against, "THERE_ALREADY")
	case r.Site == to:
		against = append(against, "SAME_SITE")
	}
	if slices.Sort(against); len(against) > 0 {
		return refusedFor(ledger.ReasonToolNotFit), against
	}
	return m.take(r), nil
}
