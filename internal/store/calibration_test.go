package store_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// judgedAt is a calibration of the Denver wrench, ±4 % (ISO 6789-1:2017, row II A),
// as left with one deviation at each of its test points.
func judgedAt(deviationPercent float64, changes ...func(*ledger.Calibration)) *ledger.Calibration {
	return storetest.NewCalibration(storetest.DenverWrench, append([]func(*ledger.Calibration){func(r *ledger.Calibration) {
		r.Points = nil
		for _, target := range []float64{20, 60, 100} {
			reading := target / (1 + deviationPercent/100)
			r.Points = append(r.Points, ledger.CalibrationPoint{Phase: ledger.AsLeft, TargetNewtonMetres: target,
				ReadingsNewtonMetres: []float64{reading, reading, reading, reading, reading}, ExpandedUncertaintyNewtonMetres: reading / 100, CoverageFactor: 2})
		}
	}}, changes...)...)
}

// keptCalibration reads a calibration back.
func keptCalibration(t *testing.T, s *store.Store, c *ledger.Calibration) *ledger.Calibration {
	t.Helper()
	got, err := s.FindRecord(context.Background(), ledger.KindCalibration, c.ID)
	if err != nil {
		t.Fatal(err)
	}
	return got.(*ledger.Calibration)
}

// testCalibrationsAreJudged keeps calibrations under each rule, alone, sent again,
// only tried, and as a replacement. 3.6 % with U = 1 % is the row of the decision
// table of ILAC-G8:09/2019, 4.2, that passes simply and conditionally under guard.
func testCalibrationsAreJudged(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	rule := func(r ledger.DecisionRule) func(*ledger.Calibration) {
		return func(c *ledger.Calibration) {
			c.Rule, c.StatedVerdict, c.Document = r, ledger.VerdictFail, ledger.CalibrationCertificate
		}
	}
	simple, guarded, failed := judgedAt(3.6), judgedAt(3.6, rule(ledger.RuleGuardBand)), judgedAt(4.3, rule(ledger.RuleManagedGuardBand))
	plain := storetest.NewCalibration(storetest.ImpactWrench)
	tried := judgedAt(3.6)
	outcomes, err := s.Record(ctx, []ledger.Record{tried}, store.Change{ValidateOnly: true})
	wantStates(t, outcomes, err, store.Taken)
	storetest.Record(t, s, simple, guarded, failed, plain)
	for _, tt := range []struct {
		c    *ledger.Calibration
		rule ledger.DecisionRule
		want ledger.Verdict
	}{{simple, ledger.RuleSimpleAcceptance, ledger.VerdictPass}, {guarded, ledger.RuleGuardBand, ledger.VerdictConditionalPass}, {failed, ledger.RuleManagedGuardBand, ledger.VerdictFail}} {
		got := keptCalibration(t, s, tt.c)
		if v := got.Verdict; v == nil || v.Rule != tt.rule || v.AsLeft != tt.want || v.LimitPercent != 4 || v.ConformityProbability == nil {
			t.Errorf("%+v; expected %s", got.Verdict, ledger.Verdicts.Name(tt.want))
		}
		if diff := cmp.Diff(tt.c, got); diff != "" {
			t.Errorf("(-answered +read):\n%s", diff)
		}
		outcomes, err := s.Record(ctx, []ledger.Record{resent(tt.c)}, store.Change{})
		wantStates(t, outcomes, err, store.AlreadyKnown)
	}
	if got := keptCalibration(t, s, plain); got.Verdict != nil {
		t.Errorf("a tool without a class: %+v", got.Verdict)
	}
	replacement := judgedAt(5.2, func(c *ledger.Calibration) { c.Certificate = simple.Certificate })
	storetest.Record(t, s, &ledger.Correction{Entry: storetest.NewTightening(storetest.DenverJoint).Entry, Corrects: simple.ID, Replacement: replacement.ID, With: replacement, Reason: "misread"})
	if v := keptCalibration(t, s, replacement).Verdict; v == nil || v.AsLeft != ledger.VerdictFail {
		t.Errorf("%+v", v)
	}
	soundReport(t, s)
}

// testCalibrationsThatCantBe sends what is refused for what the store knows: every
// field at once, and nothing half kept.
func testCalibrationsThatCantBe(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	wrong := map[string]*ledger.Calibration{
		"entry.occur_time": judgedAt(0, func(c *ledger.Calibration) {
			c.OccurTime = time.Now().Add(25 * time.Hour).Truncate(time.Microsecond).UTC()
		}),
		"decision_rule": judgedAt(0, func(c *ledger.Calibration) {
			c.Document, c.Rule, c.Points[1].ExpandedUncertaintyNewtonMetres = ledger.DeclarationOfConformance, ledger.RuleGuardBand, 0
		}),
		"points[0].expanded_uncertainty_newton_metres": judgedAt(0, func(c *ledger.Calibration) { c.Points[0].ExpandedUncertaintyNewtonMetres = 0 }),
		"points[2].target_newton_metres":               judgedAt(0, func(c *ledger.Calibration) { c.Points[2].TargetNewtonMetres = 101 }),
		"points[0].readings_newton_metres":             judgedAt(0, func(c *ledger.Calibration) { c.Points[0].ReadingsNewtonMetres = []float64{20} }),
		"points[2].phase":                              judgedAt(0, func(c *ledger.Calibration) { c.Points[2].Phase = ledger.AsFound }),
		"points[1].expanded_uncertainty_newton_metres": judgedAt(0, func(c *ledger.Calibration) {
			c.Document, c.Points[1].ExpandedUncertaintyNewtonMetres = ledger.CalibrationCertificate, 0
		}),
	}
	for field, c := range wrong {
		outcomes, err := s.Record(ctx, []ledger.Record{c}, store.Change{})
		wantStates(t, outcomes, err, store.Refused)
		if got := fieldsOf(wantError(t, outcomes[0].Err, ledger.KindInvalid, ledger.ReasonInvalidField)); !slices.Equal(got, []string{field}) {
			t.Errorf("%v; expected %s", got, field)
		}
	}
	t.Log("as the replacement of another, the fields are those of the replacement")
	kept := judgedAt(0)
	storetest.Record(t, s, kept)
	bad := judgedAt(0, func(c *ledger.Calibration) {
		c.Points[0].TargetNewtonMetres, c.Points[2].ReadingsNewtonMetres = 10, []float64{100}
	})
	outcomes, err := s.Record(ctx, []ledger.Record{
		&ledger.Correction{Entry: storetest.NewTightening(storetest.DenverJoint).Entry, Corrects: kept.ID, Replacement: bad.ID, With: bad, Reason: "misread"},
	}, store.Change{})
	wantStates(t, outcomes, err, store.Refused)
	if got := fieldsOf(ledgerError(t, outcomes[0].Err)); !slices.Equal(got, []string{"replacement.points[0].target_newton_metres", "replacement.points[2].readings_newton_metres"}) {
		t.Errorf("%v", got)
	}
	if n := chainLength(t, s, storetest.Denver); n != 1 {
		t.Errorf("%d records in the chain; expected 1", n)
	}
}

func testCertificatesProveOneCalibration(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	numbered := func(laboratory, number string) *ledger.Calibration {
		return judgedAt(0, func(c *ledger.Calibration) { c.Laboratory, c.Certificate = laboratory, number })
	}
	correction := func(of *ledger.Calibration, with *ledger.Calibration) *ledger.Correction {
		c := &ledger.Correction{Entry: storetest.NewTightening(storetest.DenverJoint).Entry, Corrects: of.ID, Reason: "typed wrong"}
		if with != nil {
			c.Replacement, c.With = with.ID, with
		}
		return c
	}
	first := numbered("Lab 1", "C-1")
	t.Log("within a batch: the second is refused, another laboratory and an unknown one are not")
	outcomes, err := s.Record(ctx, []ledger.Record{first, numbered("Lab 1", "C-1"), numbered("Lab 2", "C-1"), numbered("Lab 1", ""), numbered("Lab 1", ""), numbered("lab1", "c -1"), numbered("", "c-1")}, store.Change{})
	wantStates(t, outcomes, err, store.Taken, store.Refused, store.Taken, store.Taken, store.Taken, store.Refused, store.Refused)
	if got := fieldsOf(wantError(t, outcomes[1].Err, ledger.KindInvalid, ledger.ReasonInvalidField)); !slices.Equal(got, []string{"certificate"}) {
		t.Errorf("%v", got)
	}
	t.Log("later, and for a tool of another site")
	elsewhere := storetest.NewCalibration(storetest.KolkataWrench, func(c *ledger.Calibration) { c.Laboratory, c.Certificate = "Lab 1", "C-1" })
	outcomes, err = s.Record(ctx, []ledger.Record{elsewhere}, store.Change{})
	wantStates(t, outcomes, err, store.Refused)
	t.Log("typed otherwise; of a laboratory that nobody named, only for the same tool")
	typed := func(laboratory, number string) *ledger.Calibration {
		return storetest.NewCalibration(storetest.KolkataWrench, func(c *ledger.Calibration) { c.Laboratory, c.Certificate = laboratory, number })
	}
	outcomes, err = s.Record(ctx, []ledger.Record{typed("LAB\u00a01", "c-1"), typed("", "C-2"), typed("", "c-2"), typed("Lab 3", "C-2"), numbered("", "C-2")}, store.Change{})
	wantStates(t, outcomes, err, store.Refused, store.Taken, store.Refused, store.Refused, store.Taken)
	outcomes, err = s.Record(ctx, []ledger.Record{typed("lab  1", "C-1")}, store.Change{ValidateOnly: true})
	wantStates(t, outcomes, err, store.Refused)
	t.Log("its replacement may have it; then it is the replacement's")
	second := numbered("Lab 1", "C-1")
	outcomes, err = s.Record(ctx, []ledger.Record{correction(first, second), numbered("Lab 1", "C-1")}, store.Change{})
	wantStates(t, outcomes, err, store.Taken, store.Refused)
	t.Log("withdrawn, it is free again, in the same batch too")
	outcomes, err = s.Record(ctx, []ledger.Record{correction(second, nil), resent(elsewhere)}, store.Change{})
	wantStates(t, outcomes, err, store.Taken, store.Taken)
	soundReport(t, s)
}

// testDeclarationsStartNewTools asks for the calibration in force: of the due list,
// and of the rule that judges a tightening.
func testDeclarationsStartNewTools(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	on := func(months int, document ledger.CalibrationDocument) *ledger.Calibration {
		return judgedAt(0, func(c *ledger.Calibration) {
			c.OccurTime, c.Document = storetest.Occurred.AddDate(0, months, 0), document
		})
	}
	last := func() time.Time {
		t.Helper()
		inputs, err := s.DueInputs(ctx, analysis.DueQuery{AsOf: storetest.Occurred, Sites: []string{storetest.Denver}, Kinds: []ledger.ToolKind{ledger.ToolTorqueWrench}})
		if err != nil || len(inputs) != 1 || inputs[0].Last == nil {
			t.Fatalf("%+v, %v", inputs, err)
		}
		return inputs[0].Last.OccurTime
	}
	lapsed := func() bool {
		t.Helper()
		outcomes, err := s.Record(ctx, []ledger.Record{storetest.NewTightening(storetest.DenverJoint)}, store.Change{})
		wantStates(t, outcomes, err, store.Taken)
		for _, f := range outcomes[0].Findings {
			if f.Rule == "tool-calibration-lapsed" {
				return true
			}
		}
		return false
	}
	declared := on(-13, ledger.DeclarationOfConformance)
	storetest.Record(t, s, declared)
	if got := last(); !got.Equal(declared.OccurTime) || !lapsed() {
		t.Errorf("a new tool: %v", got)
	}
	storetest.Record(t, s, on(-2, ledger.DeclarationOfConformance))
	if got := last(); !got.Equal(declared.OccurTime) || !lapsed() {
		t.Errorf("a declaration of a tool that is not new: %v", got)
	}
	certified := on(-3, ledger.CalibrationCertificate)
	storetest.Record(t, s, certified)
	if got := last(); !got.Equal(certified.OccurTime) || lapsed() {
		t.Errorf("a calibration before the declaration: %v", got)
	}
}

func testToolChecksAndPolicies(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	hoist := ledger.Tool{Serial: "HO-1", Kind: ledger.ToolHoist, HomeSite: storetest.Denver, RatedLoadKilograms: 1500, Policies: []ledger.Policy{
		{Action: ledger.ActionPeriodicInspection, Months: 12, AfterEvent: true}, {Action: ledger.ActionPreUseCheck, EachShift: true},
	}}
	outcomes, err := s.RegisterTools(ctx, []ledger.Tool{hoist, hoist, {Serial: "HO-2", Kind: ledger.ToolHoist, HomeSite: storetest.Denver, TypeClass: "II-A"}}, store.Change{})
	wantStates(t, outcomes, err, store.Taken, store.AlreadyKnown, store.Refused)
	changed, err := s.UpdateTool(ctx, "HO-1", 0, store.Change{}, func(v *ledger.Tool) error {
		v.RatedLoadKilograms, v.Policies = 2000, v.Policies[:1]
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.Tool(ctx, "HO-1")
	if diff := cmp.Diff(changed, got); err != nil || diff != "" || got.RatedLoadKilograms != 2000 || len(got.Policies) != 1 {
		t.Errorf("%v (-answered +read):\n%s", err, diff)
	}
	check := storetest.NewToolCheck("HO-1", func(r *ledger.ToolCheck) { r.Result = ledger.InspectionFail })
	storetest.Record(t, s, check)
	outcomes, err = s.Record(ctx, []ledger.Record{storetest.NewToolCheck("HO-9")}, store.Change{})
	wantStates(t, outcomes, err, store.Refused)
	better := storetest.NewToolCheck("HO-1")
	storetest.Record(t, s, &ledger.Correction{Entry: storetest.NewTightening(storetest.DenverJoint).Entry, Corrects: check.ID, Replacement: better.ID, With: better, Reason: "another hoist"})
	listed, _, err := s.Records(ctx, store.RecordFilter{Kind: ledger.KindToolCheck, Tool: "HO-1"}, store.Page{Size: 10})
	if err != nil || len(listed) != 2 {
		t.Fatalf("%v, %v", listed, err)
	}
	if first := listed[0].(*ledger.ToolCheck); first.CorrectedBy == check.CorrectedBy || first.Result != ledger.InspectionFail {
		t.Errorf("%+v", first)
	}
	if diff := cmp.Diff(better, listed[1]); diff != "" {
		t.Errorf("(-answered +read):\n%s", diff)
	}
	soundReport(t, s)
}
