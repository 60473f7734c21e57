package ledger_test

import (
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"jointledger/internal/ledger"
)

func TestToolCheckRules(t *testing.T) {
	t.Parallel()
	type T = ledger.ToolCheck
	validate, head := (*T).Validate, (*T).Head
	checkRules(t, sound(toolCheck), validate, slices.Concat(entryRules(head, true), []rule[T]{
		{"no tool", func(r *T) { r.Tool = "" }, only("tool")},
		{"no site", func(r *T) { r.Site = "" }, only("site")},
		{"no action", func(r *T) { r.Action = 0 }, only("action")},
		{"a calibration", func(r *T) { r.Action = ledger.ActionCalibration }, only("action")},
		{"an inspection", func(r *T) { r.Action = ledger.ActionPeriodicInspection }, nil},
		{"no result", func(r *T) { r.Result = 0 }, only("result")},
	}))
	checkTexts(t, sound(toolCheck), validate, append(entryTexts(head), textField[T]{"certificate", func(r *T) *string { return &r.Certificate }, 100, false, false}))
}

func TestToolPolicyRules(t *testing.T) {
	t.Parallel()
	validate := func(v *ledger.Tool) []ledger.FieldError { return v.Validate() }
	with := func(policies ...ledger.Policy) func(*ledger.Tool) {
		return func(v *ledger.Tool) { v.Policies = policies }
	}
	inspected := ledger.Policy{Action: ledger.ActionPeriodicInspection, Months: 12, AfterEvent: true}
	checkRules(t, tool, validate, []rule[ledger.Tool]{
		{"one", with(inspected), nil},
		{"one an action", with(inspected, ledger.Policy{Action: ledger.ActionPreUseCheck, EachShift: true}), nil},
		{"an action twice", with(inspected, inspected), only("policies[1].action")},
		{"a calibration", with(ledger.Policy{Action: ledger.ActionCalibration, Months: 12}), only("policies[0].action")},
		{"no action", with(ledger.Policy{Months: 12}), only("policies[0].action")},
		{"nothing set", with(ledger.Policy{Action: ledger.ActionProofTest}), only("policies[0].action")},
		{"an inspection each shift", with(ledger.Policy{Action: ledger.ActionPeriodicInspection, EachShift: true}), only("policies[0].each_shift")},
		{"too long", with(ledger.Policy{Action: ledger.ActionProofTest, Months: 241}), only("policies[0].months")},
		{"below nothing", with(ledger.Policy{Action: ledger.ActionProofTest, Days: -1}), only("policies[0].days")},
	})
	hoist := func() ledger.Tool { return ledger.Tool{Serial: "H1", Kind: ledger.ToolHoist, HomeSite: "RVB"} }
	checkRules(t, hoist, validate, outOfRange("rated_load_kilograms", func(v *ledger.Tool) *float64 { return &v.RatedLoadKilograms }, 0, 1e6, true))
}

func TestPolicyGrammar(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]ledger.Policy{
		"periodic-inspection=12mo,after-event": {Action: ledger.ActionPeriodicInspection, Months: 12, AfterEvent: true},
		"periodic-inspection=12mo after-event": {Action: ledger.ActionPeriodicInspection, Months: 12, AfterEvent: true},
		" Proof-Test = 7D, 5000Cycles ":        {Action: ledger.ActionProofTest, Days: 7, Cycles: 5000},
		"pre-use-check=each-shift":             {Action: ledger.ActionPreUseCheck, EachShift: true},
		"calibration=1mo":                      {Action: ledger.ActionCalibration, Months: 1},
	} {
		if got, err := ledger.ParsePolicy(text); err != nil || got != want {
			t.Errorf("%q: %+v, %v; expected %+v", text, got, err, want)
		}
	}
	for text, says := range map[string]string{
		"":                              "is no policy; expected ACTION=PART",
		"periodic-inspection":           "is no policy",
		"periodic-inspection=":          "sets nothing",
		"periodic-inspektion=12mo":      "did you mean periodic-inspection?",
		"proof-test=12":                 `"12" is no part of a policy; expected 12mo, 7d, 5000cycles, after-event or each-shift`,
		"proof-test=12months":           "is no part of a policy",
		"proof-test=0mo":                "expected a whole number of at least 1",
		"proof-test=-3mo":               "expected a whole number of at least 1",
		"proof-test=1mo,2mo":            "gives mo twice",
		"proof-test=1.5mo":              "is no part of a policy",
		"proof-test=99999999999999mo":   "is no part of a policy",
		"proof-test=after-event,weekly": `"weekly" is no part of a policy`,
	} {
		if _, err := ledger.ParsePolicy(text); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v; expected %s", text, err, says)
		}
	}
}

// What is shown can be typed.
func TestPolicyRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		p := ledger.Policy{
			Action: ledger.PolicyAction(rapid.IntRange(1, 4).Draw(t, "action")), Months: rapid.IntRange(0, 240).Draw(t, "months"),
			Days: rapid.IntRange(0, 3660).Draw(t, "days"), Cycles: rapid.IntRange(0, 10_000_000).Draw(t, "cycles"),
			AfterEvent: rapid.Bool().Draw(t, "event"), EachShift: rapid.Bool().Draw(t, "shift"),
		}
		if p == (ledger.Policy{Action: p.Action}) {
			return
		}
		if got, err := ledger.ParsePolicy(p.String()); err != nil || got != p {
			t.Fatalf("%s: %+v, %v; expected %+v", p, got, err, p)
		}
	})
}

// A declaration of conformance starts the interval of a new tool, and of no other.
func TestProving(t *testing.T) {
	t.Parallel()
	declared, certified := &ledger.Calibration{Document: ledger.DeclarationOfConformance}, &ledger.Calibration{Document: ledger.CalibrationCertificate}
	unsaid := &ledger.Calibration{}
	for name, tt := range map[string]struct{ given, want []*ledger.Calibration }{
		"none":       {nil, nil},
		"new":        {[]*ledger.Calibration{declared}, []*ledger.Calibration{declared}},
		"again":      {[]*ledger.Calibration{declared, declared}, []*ledger.Calibration{declared}},
		"calibrated": {[]*ledger.Calibration{declared, certified, declared, unsaid}, []*ledger.Calibration{declared, certified, unsaid}},
		"not new":    {[]*ledger.Calibration{unsaid, declared}, []*ledger.Calibration{unsaid}},
	} {
		if got := ledger.Proving(tt.given); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v; expected %v", name, got, tt.want)
		}
	}
}

func TestWorstTarget(t *testing.T) {
	t.Parallel()
	c := &ledger.Calibration{Points: []ledger.CalibrationPoint{
		{Phase: ledger.AsFound, TargetNewtonMetres: 20, ReadingsNewtonMetres: []float64{20, 10}},
		{Phase: ledger.AsLeft, TargetNewtonMetres: 60, ReadingsNewtonMetres: []float64{60, 63}},
		{Phase: ledger.AsLeft, TargetNewtonMetres: 100, ReadingsNewtonMetres: []float64{100, 104}},
	}}
	if got, ok := c.WorstTarget(ledger.AsLeft); !ok || got != 60 {
		t.Errorf("%v, %v", got, ok)
	}
	c.Points[2].ReadingsNewtonMetres[0] = 0
	if got, ok := c.WorstTarget(ledger.AsLeft); !ok || got != 100 {
		t.Errorf("no torque: %v, %v", got, ok)
	}
	c.Points = c.Points[:1]
	if _, ok := c.WorstTarget(ledger.AsLeft); ok {
		t.Error("a phase without readings")
	}
}
