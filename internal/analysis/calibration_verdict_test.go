package analysis_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/metrology"
)

// ratedWrench is a click wrench of 20 to 100 N·m: its limit is ±4 % of reading
// (ISO 6789-1:2017, row II A, seen; trade.md F).
func ratedWrench() ledger.Tool {
	return ledger.Tool{Serial: "TW-1", Kind: ledger.ToolTorqueWrench, TypeClass: "II-A", MinimumNewtonMetres: 20, MaximumNewtonMetres: 100, ResolutionNewtonMetres: 0.5}
}

// pointAt has five readings, as row II A asks for (from memory), whose deviations
// are all those given; U is the expanded uncertainty in percent of the reading.
func pointAt(phase ledger.CalibrationPhase, target, deviationPercent, uncertaintyPercent float64) ledger.CalibrationPoint {
	reading := target / (1 + deviationPercent/100)
	p := ledger.CalibrationPoint{Phase: phase, TargetNewtonMetres: target, ExpandedUncertaintyNewtonMetres: reading * uncertaintyPercent / 100, CoverageFactor: 2}
	for range 5 {
		p.ReadingsNewtonMetres = append(p.ReadingsNewtonMetres, reading)
	}
	return p
}

// certificate is a complete calibration certificate with the same deviation at the
// three test points of the 2017 edition: lowest value, 60 and 100 %.
func certificate(rule ledger.DecisionRule, deviationPercent, uncertaintyPercent float64) *ledger.Calibration {
	air := 21.0
	c := &ledger.Calibration{Tool: "TW-1", Laboratory: "Lab", Certificate: "C-1", Document: ledger.CalibrationCertificate, Rule: rule, AirCelsius: &air, DeviceUncertaintyPercent: 1}
	for _, target := range []float64{20, 60, 100} {
		c.Points = append(c.Points, pointAt(ledger.AsLeft, target, deviationPercent, uncertaintyPercent))
	}
	return c
}

func judged(t *testing.T, tool ledger.Tool, c *ledger.Calibration) *ledger.CalibrationVerdict {
	t.Helper()
	v, err := analysis.CalibrationVerdict(tool, c)
	if err != nil || v == nil {
		t.Fatalf("%+v, %v", v, err)
	}
	return v
}

func nearly(t *testing.T, what string, got *float64, want, tolerance float64) {
	t.Helper()
	if got == nil || math.Abs(*got-want) > tolerance {
		t.Errorf("%s: %v, want %v", what, got, want)
	}
}

// The readings example of trade.md F, worked out by hand from the formula of ISO
// 6789-1:2017, clause 7 (from memory): at 60 N·m the readings 58.6, 58.9, 59.2,
// 58.4 and 58.8 deviate by 2.389, 1.868, 1.351, 2.740 and 2.041 %.
func TestVerdictOfTheReadingsExample(t *testing.T) {
	c := certificate(0, 0, 0.5)
	c.Points[1].ReadingsNewtonMetres = []float64{58.6, 58.9, 59.2, 58.4, 58.8}
	v := judged(t, ratedWrench(), c)
	nearly(t, "worst", v.WorstAsLeftPercent, 2.740, 0.0005)
	if v.Rule != ledger.RuleSimpleAcceptance || v.Edition != "2017" || v.LimitPercent != 4 || v.AsLeft != ledger.VerdictPass || v.AsFound != 0 ||
		v.WorstAsFoundPercent != nil || len(v.Deficiencies) != 0 {
		t.Errorf("%+v", v)
	}
	// The limits on the reading at 100 N·m (trade.md F): 104.1 passes, 96.1 fails.
	c.Points[2].ReadingsNewtonMetres = []float64{100, 100, 104.1, 100, 100}
	if v = judged(t, ratedWrench(), c); v.AsLeft != ledger.VerdictPass {
		t.Errorf("104.1: %+v", v)
	}
	nearly(t, "104.1", v.WorstAsLeftPercent, -3.94, 0.005)
	c.Points[2].ReadingsNewtonMetres[2] = 96.1
	if v = judged(t, ratedWrench(), c); v.AsLeft != ledger.VerdictFail {
		t.Errorf("96.1: %+v", v)
	}
	nearly(t, "96.1", v.WorstAsLeftPercent, 4.06, 0.005)
}

// The decision table of trade.md F: four outcomes of ILAC-G8:09/2019, 4.2 (seen);
// the probabilities outside from the normal distribution with u = U/2.
func TestVerdictDecisionTable(t *testing.T) {
	for _, tt := range []struct {
		a, u            float64
		simple, guarded ledger.Verdict
		outside         float64
	}{
		{2.04, 1.0, ledger.VerdictPass, ledger.VerdictPass, 0.00004},
		{2.9, 1.3, ledger.VerdictPass, ledger.VerdictConditionalPass, 0.0453},
		{3.6, 1.0, ledger.VerdictPass, ledger.VerdictConditionalPass, 0.2119},
		{4.3, 1.0, ledger.VerdictFail, ledger.VerdictConditionalFail, 0.7257},
		{5.2, 1.0, ledger.VerdictFail, ledger.VerdictFail, 0.9918},
	} {
		for _, sign := range []float64{1, -1} {
			for rule, want := range map[ledger.DecisionRule]ledger.Verdict{ledger.RuleSimpleAcceptance: tt.simple, ledger.RuleGuardBand: tt.guarded} {
				v := judged(t, ratedWrench(), certificate(rule, sign*tt.a, tt.u))
				if v.AsLeft != want || v.Rule != rule {
					t.Errorf("%+g %% under %s: %s, want %s", sign*tt.a, ledger.DecisionRules.Name(rule), ledger.Verdicts.Name(v.AsLeft), ledger.Verdicts.Name(want))
				}
				nearly(t, "worst", v.WorstAsLeftPercent, sign*tt.a, 1e-9)
				nearly(t, "probability", v.ConformityProbability, 1-tt.outside, 0.00006)
				nearly(t, "ratio", v.TestUncertaintyRatio, 4/tt.u, 1e-9)
			}
		}
	}
}

// The managed guard band of trade.md F (from memory): M is 0.3602 at a TUR of 1.5,
// 0.2817 at 2, 0.1553 at 3, 0.0531 at 4, and none from 4.6.
func TestVerdictManagedGuardBand(t *testing.T) {
	for _, tt := range []struct{ ratio, m float64 }{{1.5, 0.3602}, {2, 0.2817}, {3, 0.1553}, {4, 0.0531}, {4.6, 0}} {
		u := 4 / tt.ratio
		limit := 4 - u*tt.m
		inside := judged(t, ratedWrench(), certificate(ledger.RuleManagedGuardBand, limit-0.001, u))
		if inside.AsLeft != ledger.VerdictPass {
			t.Errorf("TUR %g, just inside %g: %+v", tt.ratio, limit, inside)
		}
		outside := judged(t, ratedWrench(), certificate(ledger.RuleManagedGuardBand, limit+0.001, u))
		if outside.AsLeft != ledger.VerdictFail {
			t.Errorf("TUR %g, just outside %g: %+v", tt.ratio, limit, outside)
		}
		nearly(t, "ratio", inside.TestUncertaintyRatio, tt.ratio, 1e-9)
	}
}

func TestVerdictNeedsTheUncertaintyOfItsRule(t *testing.T) {
	for _, rule := range []ledger.DecisionRule{ledger.RuleGuardBand, ledger.RuleManagedGuardBand} {
		c := certificate(rule, 1, 0.5)
		c.Points[1].ExpandedUncertaintyNewtonMetres = 0
		_, err := analysis.CalibrationVerdict(ratedWrench(), c)
		e := ledger.AsError(err)
		if err == nil || e.Kind != ledger.KindInvalid || len(e.Fields) != 1 || e.Fields[0].Field != "decision_rule" ||
			!strings.Contains(e.Fields[0].Description, ledger.DecisionRules.Name(rule)+" needs the expanded uncertainty of every test point, and 60 N.m as-left has none") {
			t.Errorf("%v", err)
		}
	}
	c := certificate(0, 1, 0)
	c.Document = 0
	if v := judged(t, ratedWrench(), c); v.ConformityProbability != nil || v.TestUncertaintyRatio != nil || v.AsLeft != ledger.VerdictPass {
		t.Errorf("%+v", v)
	}
}

func TestNoVerdictWithoutALimit(t *testing.T) {
	for _, change := range []func(*ledger.Tool){
		func(v *ledger.Tool) { v.TypeClass = "" }, func(v *ledger.Tool) { v.MaximumNewtonMetres = 0 }, func(v *ledger.Tool) { v.TypeClass = "IX-Q" },
	} {
		tool := ratedWrench()
		change(&tool)
		if v, err := analysis.CalibrationVerdict(tool, certificate(ledger.RuleGuardBand, 1, 0)); v != nil || err != nil {
			t.Errorf("%+v: %+v, %v", tool, v, err)
		}
	}
}

// The phase that the tool left in is what counts; the other is told beside it.
func TestVerdictByPhase(t *testing.T) {
	c := certificate(ledger.RuleGuardBand, 1, 1)
	c.Points = append([]ledger.CalibrationPoint{pointAt(ledger.AsFound, 60, 6.1, 1)}, c.Points...)
	v := judged(t, ratedWrench(), c)
	nearly(t, "as found", v.WorstAsFoundPercent, 6.1, 1e-9)
	nearly(t, "as left", v.WorstAsLeftPercent, 1, 1e-9)
	nearly(t, "probability", v.ConformityProbability, 1, 1e-6)
	if v.AsFound != ledger.VerdictFail || v.AsLeft != ledger.VerdictPass || v.Left() != ledger.VerdictPass {
		t.Errorf("%+v", v)
	}
	if !v.DisagreesWith(ledger.VerdictFail) || v.DisagreesWith(ledger.VerdictConditionalPass) || v.DisagreesWith(0) {
		t.Error("disagreement with the laboratory")
	}
}

// A reading of no torque has no deviation, and nothing of it is told.
func TestVerdictOfNoTorque(t *testing.T) {
	for _, none := range []float64{0, math.SmallestNonzeroFloat64} {
		c := certificate(ledger.RuleSimpleAcceptance, 0, 1)
		c.Points[0].ReadingsNewtonMetres[3] = none
		v := judged(t, ratedWrench(), c)
		if v.AsLeft != ledger.VerdictFail || v.WorstAsLeftPercent != nil || v.ConformityProbability != nil || len(v.Deficiencies) != 1 || v.Deficiencies[0] != "A reading showed no torque at all as left, at 20 N.m." {
			t.Errorf("%+v", v)
		}
	}
	c := certificate(0, 0, 1)
	c.Points[0].ReadingsNewtonMetres = make([]float64, 5)
	if v := judged(t, ratedWrench(), c); v.AsLeft != ledger.VerdictFail || len(v.Deficiencies) != 1 {
		t.Errorf("%+v", v)
	}
}

func TestVerdictDeficiencies(t *testing.T) {
	declared := "A declaration of conformance says that tools of its type conform (ISO 6789-1:2017); it is no calibration certificate (ISO 6789-2:2017), and starts the interval of a new tool only."
	for name, tt := range map[string]struct {
		change func(*ledger.Calibration, *ledger.Tool)
		want   []string
	}{
		"complete": {func(*ledger.Calibration, *ledger.Tool) {}, nil},
		"not said": {func(c *ledger.Calibration, _ *ledger.Tool) {
			c.Document, c.AirCelsius, c.DeviceUncertaintyPercent = 0, nil, 0
		},
			[]string{"Nobody said whether the document is a calibration certificate (ISO 6789-2:2017) or a declaration of conformance (ISO 6789-1:2017)."}},
		"declaration": {func(c *ledger.Calibration, _ *ledger.Tool) {
			c.Document = ledger.DeclarationOfConformance
			for i := range c.Points {
				c.Points[i].ExpandedUncertaintyNewtonMetres = 0
			}
		}, []string{declared}},
		"few readings, a point missing": {func(c *ledger.Calibration, _ *ledger.Tool) {
			c.Points = c.Points[1:]
			c.Points[0].ReadingsNewtonMetres = c.Points[0].ReadingsNewtonMetres[:2]
		}, []string{"Fewer readings as left than the 5 at a test point that ISO 6789 asks of II-A: 2 at 60 N.m.", "No test point as left at 20 N.m."}},
		// Row II C asks for ten readings (from memory, trade.md F).
		"ten readings": {func(_ *ledger.Calibration, tool *ledger.Tool) { tool.TypeClass = "II-C" },
			[]string{"Fewer readings as left than the 10 at a test point that ISO 6789 asks of II-C: 5 at 20 N.m, 5 at 60 N.m, 5 at 100 N.m."}},
		"swamped":        {func(c *ledger.Calibration, _ *ledger.Tool) { c.Points[2].ExpandedUncertaintyNewtonMetres = 4.1 }, []string{"The expanded uncertainty as left at 100 N.m, 4.1 %, is more than the limit, 4 %: such readings can't tell pass from fail."}},
		"no uncertainty": {func(c *ledger.Calibration, _ *ledger.Tool) { c.Points[2].ExpandedUncertaintyNewtonMetres = 0 }, []string{"No expanded uncertainty as left at 100 N.m."}},
		"no factor": {func(c *ledger.Calibration, _ *ledger.Tool) { c.Points[2].CoverageFactor = 0 },
			[]string{"No coverage factor is stated with the expanded uncertainty; k = 2 was taken."}},
		// A quarter of the limit, 1 % of 4 % (from memory, trade.md F).
		"device": {func(c *ledger.Calibration, _ *ledger.Tool) { c.DeviceUncertaintyPercent = 1.1 },
			[]string{"The expanded uncertainty of the measuring device, 1.1 %, is more than the 1 % allowed, a quarter of the limit."}},
		"no device": {func(c *ledger.Calibration, _ *ledger.Tool) { c.DeviceUncertaintyPercent = 0 },
			[]string{"The expanded uncertainty of the measuring device is not stated; at most 1 % is allowed, a quarter of the limit."}},
		// 18 to 28 °C (seen, trade.md F).
		"cold":   {func(c *ledger.Calibration, _ *ledger.Tool) { *c.AirCelsius = 17.9 }, []string{"The air temperature during the calibration, 17.9 °C, lies outside 18 to 28 °C."}},
		"no air": {func(c *ledger.Calibration, _ *ledger.Tool) { c.AirCelsius = nil }, []string{"The air temperature during the calibration is not stated; expected 18 to 28 °C."}},
		"nobody's": {func(c *ledger.Calibration, _ *ledger.Tool) { c.Laboratory, c.Certificate = "", "" },
			[]string{"The laboratory is not named.", "The number of the certificate is not given."}},
		"lowest torque unknown": {func(_ *ledger.Calibration, tool *ledger.Tool) { tool.MinimumNewtonMetres = 0 },
			[]string{"The lowest torque of the tool's scale is not on record, so nobody can tell whether it was tested there."}},
	} {
		t.Run(name, func(t *testing.T) {
			c, tool := certificate(0, 0, 1), ratedWrench()
			tt.change(c, &tool)
			if got := judged(t, tool, c).Deficiencies; strings.Join(got, "\n") != strings.Join(tt.want, "\n") {
				t.Errorf("%q, want %q", got, tt.want)
			}
		})
	}
}

// A larger deviation or a larger uncertainty never makes a verdict better, and the
// order of readings and points changes nothing.
func TestVerdictIsMonotone(t *testing.T) {
	for _, rule := range []ledger.DecisionRule{ledger.RuleSimpleAcceptance, ledger.RuleGuardBand, ledger.RuleManagedGuardBand} {
		last, probability := ledger.Verdict(0), 2.0
		for a := 0.0; a < 8; a += 0.05 {
			c := certificate(rule, 0.1, 1)
			c.Points[2] = pointAt(ledger.AsLeft, 100, a, 1)
			v := judged(t, ratedWrench(), c)
			if v.AsLeft < last || *v.ConformityProbability > probability+1e-12 {
				t.Errorf("%g %%: %+v after %v, %v", a, v, last, probability)
			}
			last, probability = v.AsLeft, *v.ConformityProbability
			c.Points[0], c.Points[2] = c.Points[2], c.Points[0]
			if w := judged(t, ratedWrench(), c); fmt.Sprint(w.AsLeft, *w.WorstAsLeftPercent, *w.ConformityProbability) != fmt.Sprint(v.AsLeft, *v.WorstAsLeftPercent, *v.ConformityProbability) {
				t.Errorf("%g %%: %+v, in another order %+v", a, v, w)
			}
		}
	}
}

// A tool is taken with each type and class that the table describes as of its kind,
// and with no other: the ledger has the list of its own, metrology the limits.
func TestLedgerKnowsTheToolClasses(t *testing.T) {
	tool := ratedWrench()
	tool.HomeSite = "RVB"
	for _, class := range metrology.ToolClasses() {
		for kind, word := range map[ledger.ToolKind]string{ledger.ToolTorqueWrench: "wrench", ledger.ToolTorqueScrewdriver: "screwdriver", ledger.ToolTorqueMultiplier: ""} {
			tool.Kind, tool.TypeClass = kind, class.Code()
			if taken := len(tool.Validate()) == 0; taken != strings.HasPrefix(class.Description, word) {
				t.Errorf("%s, %q, of a %s: taken is %v", class.Code(), class.Description, ledger.ToolKinds.Name(kind), taken)
			}
		}
	}
	tool.Kind = ledger.ToolTorqueMultiplier
	for _, kind := range []string{"I", "II"} {
		for letter := 'A'; letter <= 'Z'; letter++ {
			tool.TypeClass = fmt.Sprintf("%s-%c", kind, letter)
			if _, err := metrology.ParseToolClass(tool.TypeClass); (err == nil) != (len(tool.Validate()) == 0) {
				t.Errorf("%s: %v, %v", tool.TypeClass, err, tool.Validate())
			}
		}
	}
}
