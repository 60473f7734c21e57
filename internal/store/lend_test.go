package store_test

import (
	"context"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// loan is the issue of the Denver wrench to the visitor.
func loan(at time.Time, changes ...func(*ledger.Custody)) *ledger.Custody {
	r := &ledger.Custody{
		Entry: ledger.Entry{ID: storetest.NewID(), OccurTime: at, Person: storetest.DenverPerson, Offline: true},
		Tool:  storetest.DenverWrench, Kind: ledger.CustodyIssued, Site: storetest.Denver, Holder: storetest.Visitor,
	}
	for _, change := range changes {
		change(r)
	}
	return r
}

// refusedLoan gives the words of what speaks against a loan.
func refusedLoan(t *testing.T, err error) []string {
	t.Helper()
	e := wantError(t, err, ledger.KindPrecondition, ledger.ReasonToolNotFit)
	return mapped(e.Violations, func(v ledger.Violation) string { return v.Type })
}

func sameWords(t *testing.T, what string, got []string, want ...string) {
	t.Helper()
	if !slices.Equal(got, want) {
		t.Errorf("%s: %v; expected %v", what, got, want)
	}
}

// testLendTool lends, refuses with every reason, lets pass by name, and knows the
// same loan again.
func testLendTool(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	at := func(hours int) time.Time { return storetest.Occurred.Add(time.Duration(hours) * time.Hour) }
	lend := func(r *ledger.Custody) ([]analysis.ToolRefusal, error) {
		_, passed, err := s.LendTool(ctx, r, store.Change{})
		return passed, err
	}
	_, err := lend(loan(at(0)))
	sameWords(t, "never calibrated", refusedLoan(t, err), "NEVER_DONE")
	storetest.Record(t, s, storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.OccurTime = at(1) }))

	ahead := ledger.Microseconds(time.Now()).Add(48 * time.Hour)
	if _, err := lend(loan(ahead)); err == nil || !strings.Contains(err.Error(), "custody change") {
		t.Errorf("lent the day after tomorrow: %v", err)
	}
	outcomes, err := s.Record(ctx, []ledger.Record{storetest.NewToolCheck(storetest.DenverWrench, func(r *ledger.ToolCheck) { r.OccurTime = ahead })}, store.Change{})
	if err != nil || outcomes[0].State != store.Refused || outcomes[0].Err.Fields[0].Field != "entry.occur_time" {
		t.Errorf("checked the day after tomorrow: %+v, %v", outcomes, err)
	}

	first := loan(at(2))
	if outcome, passed, err := s.LendTool(ctx, first, store.Change{ValidateOnly: true}); err != nil || outcome.State != store.Taken || passed != nil {
		t.Errorf("only tried: %+v %v %v", outcome, passed, err)
	}
	for _, state := range []store.OutcomeState{store.Taken, store.AlreadyKnown} {
		if outcome, _, err := s.LendTool(ctx, first, store.Change{}); err != nil || outcome.State != state {
			t.Errorf("%+v, %v; expected state %d", outcome, err, state)
		}
	}
	_, err = lend(loan(at(3), func(r *ledger.Custody) { r.ID, r.Holder = first.ID, storetest.DenverPerson }))
	wantError(t, err, ledger.KindExists, ledger.ReasonRecordIDReused)

	hold := &ledger.Hold{
		Entry:  ledger.Entry{ID: storetest.NewID(), OccurTime: at(4), Person: storetest.DenverPerson},
		Action: ledger.HoldPlaced, Site: storetest.Denver, Tool: storetest.DenverWrench, Reason: "clicks late",
	}
	storetest.Record(t, s, hold, loan(at(5), func(r *ledger.Custody) { r.Kind, r.Holder = ledger.CustodyDropped, "" }))
	_, err = lend(loan(at(6)))
	sameWords(t, "held, lent and dropped", refusedLoan(t, err), "ON_HOLD", "LENT", "DUE")
	_, err = lend(loan(at(6), func(r *ledger.Custody) { r.Site = storetest.Kolkata }))
	sameWords(t, "at another site", refusedLoan(t, err), "ON_HOLD", "AT_ANOTHER_SITE", "LENT", "DUE")
	_, err = lend(loan(at(6), func(r *ledger.Custody) { r.Tool = "TW-0108" }))
	wantUnknown(t, err, "tools/TW-0108", storetest.DenverWrench)

	override := func(by string) func(*ledger.Custody) {
		return func(r *ledger.Custody) { r.OverrideBy, r.OverrideReason = by, "for marking out" }
	}
	_, err = lend(loan(at(6), override(storetest.KolkataPerson)))
	wantError(t, err, ledger.KindDenied, ledger.ReasonPermissionDenied)
	passed, err := lend(loan(at(6), override(storetest.DenverPerson)))
	if err != nil || len(passed) != 3 {
		t.Errorf("let pass: %+v, %v", passed, err)
	}
	failedCheck(t, s, at)

	// A reason without a name is none.
	_, err = lend(loan(at(7), override("")))
	wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField)
	report, err := s.Verify(ctx)
	if err != nil || !report.OK() {
		t.Errorf("%+v, %v", report, err)
	}
}

// failedCheck lends a tool that no policy asks a check of: not after it failed one, until
// it has passed that one, or the failure was taken back, or the tool was calibrated.
func failedCheck(t *testing.T, s *store.Store, at func(hours int) time.Time) {
	t.Helper()
	ctx := context.Background()
	check := func(hours int, action ledger.PolicyAction, result ledger.InspectionResult) *ledger.ToolCheck {
		r := storetest.NewToolCheck(storetest.KolkataWrench, func(r *ledger.ToolCheck) {
			r.OccurTime, r.Action, r.Result = at(hours), action, result
		})
		storetest.Record(t, s, r)
		return r
	}
	tried := func(what string, hours int, want ...string) {
		t.Helper()
		_, _, err := s.LendTool(ctx, loan(at(hours), func(r *ledger.Custody) { r.Tool, r.Site = storetest.KolkataWrench, storetest.Kolkata }), store.Change{ValidateOnly: true})
		if len(want) == 0 {
			if err != nil {
				t.Errorf("%s: %v", what, err)
			}
			return
		}
		sameWords(t, what, refusedLoan(t, err), want...)
	}
	calibrated := func(hours int) {
		storetest.Record(t, s, storetest.NewCalibration(storetest.KolkataWrench, func(r *ledger.Calibration) { r.OccurTime = at(hours) }))
	}
	calibrated(10)
	tried("never checked", 11)
	check(12, ledger.ActionPreUseCheck, ledger.InspectionFail)
	tried("before it failed", 11)
	check(13, ledger.ActionProofTest, ledger.InspectionPass)
	tried("failed, and passed another check", 14, "FAILED")
	check(15, ledger.ActionPreUseCheck, ledger.InspectionPass)
	tried("passed since", 16)
	mistaken := check(17, ledger.ActionPreUseCheck, ledger.InspectionFail)
	tried("failed again", 18, "FAILED")
	storetest.Record(t, s, &ledger.Correction{Entry: ledger.Entry{ID: storetest.NewID(), OccurTime: at(19), Person: storetest.DenverPerson}, Corrects: mistaken.ID, Reason: "another tool"})
	tried("it was another tool", 18)
	check(20, ledger.ActionPreUseCheck, ledger.InspectionFail)
	calibrated(21)
	tried("calibrated since", 22)
}

// testSendTool sends off what lies in the crib, refuses what does not, knows the same
// sending again, and keeps what comes from paper.
func testSendTool(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	at := func(hours int) time.Time { return storetest.Occurred.Add(time.Duration(hours) * time.Hour) }
	move := func(kind ledger.CustodyKind, site string, hours int) *ledger.Custody {
		return loan(at(hours), func(r *ledger.Custody) { r.Kind, r.Site, r.Holder = kind, site, "" })
	}
	send := func(r *ledger.Custody, to string) error {
		_, err := s.SendTool(ctx, r, to, store.Change{})
		return err
	}
	first := move(ledger.CustodySent, storetest.Denver, 1)
	if outcome, err := s.SendTool(ctx, first, storetest.Kolkata, store.Change{ValidateOnly: true}); err != nil || outcome.State != store.Taken {
		t.Errorf("only tried: %+v %v", outcome, err)
	}
	sameWords(t, "to where it is", refusedLoan(t, send(move(ledger.CustodySent, storetest.Denver, 1), storetest.Denver)), "THERE_ALREADY")
	for _, state := range []store.OutcomeState{store.Taken, store.AlreadyKnown} {
		if outcome, err := s.SendTool(ctx, first, storetest.Kolkata, store.Change{}); err != nil || outcome.State != state {
			t.Errorf("%+v, %v; expected state %d", outcome, err, state)
		}
	}
	sameWords(t, "twice", refusedLoan(t, send(move(ledger.CustodySent, storetest.Denver, 2), storetest.Kolkata)), "IN_TRANSIT")
	storetest.Record(t, s, move(ledger.CustodyReceived, storetest.Kolkata, 3))
	sameWords(t, "from where it was", refusedLoan(t, send(move(ledger.CustodySent, storetest.Denver, 4), storetest.Kolkata)), "AT_ANOTHER_SITE", "THERE_ALREADY")
	storetest.Record(t, s, loan(at(5), func(r *ledger.Custody) { r.Site = storetest.Kolkata }))
	sameWords(t, "lent", refusedLoan(t, send(move(ledger.CustodySent, storetest.Kolkata, 6), storetest.Denver)), "LENT")
	storetest.Record(t, s, move(ledger.CustodyLost, storetest.Kolkata, 7))
	sameWords(t, "lost", refusedLoan(t, send(move(ledger.CustodySent, storetest.Kolkata, 8), storetest.Denver)), "LOST")
	storetest.Record(t, s, move(ledger.CustodySent, storetest.Kolkata, 9)) // on paper
	wantError(t, send(move(ledger.CustodyReceived, storetest.Kolkata, 10), storetest.Denver), ledger.KindInvalid, ledger.ReasonInvalidField)
	wantUnknown(t, send(move(ledger.CustodySent, storetest.Kolkata, 10), "RVX"), "sites/RVX", storetest.Denver)
	wantError(t, send(loan(at(11), func(r *ledger.Custody) { r.ID, r.Kind, r.Holder = first.ID, ledger.CustodySent, "" }), storetest.Kolkata), ledger.KindExists, ledger.ReasonRecordIDReused)
	if n := chainLength(t, s, storetest.Denver) + chainLength(t, s, storetest.Kolkata); n != 5 {
		t.Errorf("%d records; expected 5", n)
	}
	soundReport(t, s)
}

// testLentUnfit keeps loans from paper, with a finding where the crib would have
// refused.
func testLentUnfit(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	at := func(hours int) time.Time { return storetest.Occurred.Add(time.Duration(hours) * time.Hour) }
	returned := func(hours int) *ledger.Custody {
		return loan(at(hours), func(r *ledger.Custody) { r.Kind, r.Holder = ledger.CustodyReturned, "" })
	}
	// One batch: what comes earlier in it counts for what comes later.
	batch := []ledger.Record{
		loan(at(0)), // never calibrated
		returned(1), //
		storetest.NewCalibration(storetest.DenverWrench, func(r *ledger.Calibration) { r.OccurTime = at(2) }),
		loan(at(3)), // fit
		loan(at(4)), // lent already
		returned(5), //
		loan(at(24*400), func(r *ledger.Custody) { r.OverrideBy, r.OverrideReason = storetest.DenverPerson, "for marking out" }),
	}
	outcomes, err := s.Record(ctx, batch, store.Change{})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []struct{ severity, part string }{
		{"warn", "no calibration is on record"}, {}, {}, {}, {"warn", "lent to jt4"}, {}, {"note", "past due since"},
	} {
		var found []rules.Finding
		for _, f := range outcomes[i].Findings {
			if f.Rule == rules.CodeToolLentUnfit {
				found = append(found, f)
			}
		}
		switch {
		case outcomes[i].State != store.Taken:
			t.Errorf("record %d: %+v", i, outcomes[i])
		case want.severity == "" && len(found) != 0:
			t.Errorf("record %d: %+v; expected nothing", i, found)
		case want.severity != "" && (len(found) != 1 || found[0].Severity.String() != want.severity || !strings.Contains(found[0].Message, want.part)):
			t.Errorf("record %d: %+v; expected a %s with %q", i, found, want.severity, want.part)
		}
	}
}

// testTrackedTools reads custody, holds, checks and pages as of several moments.
func testTrackedTools(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	at := func(hours int) time.Time { return storetest.Occurred.Add(time.Duration(hours) * time.Hour) }
	outcomes, err := s.RegisterTools(ctx, []ledger.Tool{{
		Serial: "HO-1", Kind: ledger.ToolHoist, HomeSite: storetest.Denver, RatedLoadKilograms: 500,
		Policies: []ledger.Policy{{Action: ledger.ActionPeriodicInspection, Months: 12, AfterEvent: true}, {Action: ledger.ActionPreUseCheck, EachShift: true}},
	}}, store.Change{})
	wantStates(t, outcomes, err, store.Taken)
	check := func(action ledger.PolicyAction, hours int, result ledger.InspectionResult) ledger.Record {
		return storetest.NewToolCheck("HO-1", func(r *ledger.ToolCheck) { r.Action, r.OccurTime, r.Result = action, at(hours), result })
	}
	hoist := func(kind ledger.CustodyKind, site, holder string, hours int) ledger.Record {
		return loan(at(hours), func(r *ledger.Custody) { r.Tool, r.Kind, r.Site, r.Holder = "HO-1", kind, site, holder })
	}
	storetest.Record(t, s,
		check(ledger.ActionPeriodicInspection, 0, ledger.InspectionPass),
		check(ledger.ActionPreUseCheck, 1, ledger.InspectionPass),
		hoist(ledger.CustodyIssued, storetest.Denver, storetest.Visitor, 2),
		hoist(ledger.CustodyOverloaded, storetest.Denver, "", 3), // and its holder has it still
		check(ledger.ActionPeriodicInspection, 4, ledger.InspectionFail),
		hoist(ledger.CustodySent, storetest.Denver, "", 5),
		hoist(ledger.CustodyReceived, storetest.Kolkata, "", 6),
		check(ledger.ActionPeriodicInspection, 7, ledger.InspectionPass),
	)
	serials := func(q analysis.TrackedQuery) []string {
		t.Helper()
		tools, err := s.TrackedTools(ctx, q)
		if err != nil {
			t.Fatal(err)
		}
		return mapped(tools, func(v analysis.TrackedTool) string { return v.Due.Tool.Serial })
	}
	sameWords(t, "lent", serials(analysis.TrackedQuery{AsOf: at(2), Lent: true}), "HO-1")
	sameWords(t, "before it was lent", serials(analysis.TrackedQuery{AsOf: at(1), Lent: true}))
	sameWords(t, "by holder", serials(analysis.TrackedQuery{AsOf: at(3), Holder: storetest.Visitor}), "HO-1")
	if tools, err := s.TrackedTools(ctx, analysis.TrackedQuery{AsOf: at(3), Serials: []string{"HO-1"}}); err != nil || len(tools) != 1 || tools[0].Custody == nil || !tools[0].Custody.Since.Equal(at(2)) {
		t.Errorf("since it was lent: %+v, %v", tools, err)
	}
	sameWords(t, "no longer", serials(analysis.TrackedQuery{AsOf: at(5), Holder: storetest.Visitor}))
	kolkata := analysis.TrackedQuery{AsOf: at(6), Sites: []string{storetest.Kolkata}}
	sameWords(t, "home", serials(kolkata), "TW-0212")
	kolkata.Visiting = true
	sameWords(t, "home or there", serials(kolkata), "HO-1", "TW-0212")
	sameWords(t, "on its way", serials(analysis.TrackedQuery{AsOf: at(5), Sites: []string{storetest.Kolkata}, Visiting: true}), "TW-0212")

	for _, c := range []struct {
		hours  int
		reason analysis.DueReason
		due    time.Time
	}{
		{3, analysis.DueByEvent, at(3)},
		{4, analysis.DueFailed, at(4)},
	} {
		items, err := s.DueItems(ctx, analysis.TrackedQuery{AsOf: at(c.hours), Serials: []string{"HO-1"}}, analysis.DueQuestion{AsOf: at(c.hours)})
		if err != nil || len(items) != 1 || items[0].Reason != c.reason || !items[0].DueAt.Equal(c.due) || items[0].Holder != storetest.Visitor {
			t.Errorf("at hour %d: %+v, %v", c.hours, items, err)
		}
	}
	items, err := s.DueItems(ctx, analysis.TrackedQuery{AsOf: at(8)}, analysis.DueQuestion{AsOf: at(8), Within: 24 * time.Hour, ShiftChecks: true})
	words := mapped(items, func(i analysis.DueItem) string { return i.Tool.Serial + " " + analysis.DueReasons.Name(i.Reason) })
	if slices.Sort(words); err != nil || !slices.Equal(words, []string{"HO-1 shift", "TW-0107 never-calibrated", "TW-0212 never-calibrated"}) {
		t.Errorf("%v, %v", words, err)
	}

	storetest.Record(t, s, storetest.NewIncident(ledger.DroppedTool, storetest.DenverJoint, func(r *ledger.Incident) { r.OccurTime = at(8) }))
	for hours, want := range map[int]int{2: 0, 3: 1, 8: 2} {
		few, err := s.ToolEvents(ctx, analysis.TrackedQuery{AsOf: at(hours)}, false)
		if err != nil {
			t.Fatal(err)
		}
		many, err := s.ToolEvents(ctx, analysis.TrackedQuery{AsOf: at(hours)}, true)
		// At hour 7 the hoist was inspected, so what befell it before is past.
		if n := len(few["HO-1"]) + len(few[storetest.DenverWrench]); err != nil || n != want || cmp.Diff(few, many) != "" {
			t.Errorf("at hour %d: %d events, expected %d: %v, %v", hours, n, want, err, cmp.Diff(few, many))
		}
	}

	var paged []string
	for page := (store.Page{Size: 1}); ; {
		tools, next, err := s.TrackedToolsPage(ctx, analysis.TrackedQuery{AsOf: at(8), Sites: []string{storetest.Denver, storetest.Kolkata}, Visiting: true}, page)
		if err != nil {
			t.Fatal(err)
		}
		paged = append(paged, mapped(tools, func(v analysis.TrackedTool) string { return v.Due.Tool.Serial })...)
		if next == "" {
			break
		}
		page.After = next
	}
	sameWords(t, "by pages", paged, "HO-1", "IW-0031", "TW-0107", "TW-0212")
	_, err = s.TrackedTools(ctx, analysis.TrackedQuery{AsOf: at(8), Holder: "jt5"})
	wantUnknown(t, err, "people/jt5", storetest.Visitor)
}
