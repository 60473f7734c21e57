package metrology_test

import (
	"errors"
	"math"
	"testing"

	"jointledger/internal/metrology"
)

// Verdicts and probabilities of a deviation (%) against ±4 % with the expanded
// uncertainty U (%), worked out by hand; the four outcomes are those of
// ILAC-G8:09/2019, 4.2 (seen).
func TestDecide(t *testing.T) {
	tests := []struct {
		a, u    float64
		al      float64
		simple  metrology.Outcome
		guarded metrology.Outcome
		outside float64
	}{
		{2.04, 1.0, 3.0, metrology.Pass, metrology.Pass, 0.00004},
		{2.9, 1.3, 2.7, metrology.Pass, metrology.ConditionalPass, 0.0453},
		{3.6, 1.0, 3.0, metrology.Pass, metrology.ConditionalPass, 0.2119},
		{4.3, 1.0, 3.0, metrology.Fail, metrology.ConditionalFail, 0.7257},
		{5.2, 1.0, 3.0, metrology.Fail, metrology.Fail, 0.9918},
	}
	for _, tt := range tests {
		for _, sign := range []float64{1, -1} {
			r := metrology.Result{Deviation: sign * tt.a, Limit: 4, ExpandedUncertainty: tt.u}
			if got, err := r.Decide(metrology.SimpleAcceptance); err != nil || got != tt.simple {
				t.Errorf("%g simple: %v, %v; want %v", r.Deviation, got, err, tt.simple)
			}
			if got, err := r.Decide(metrology.GuardBand); err != nil || got != tt.guarded {
				t.Errorf("%g guarded: %v, %v; want %v", r.Deviation, got, err, tt.guarded)
			}
			al, err := r.AcceptanceLimit(metrology.GuardBand)
			if err != nil {
				t.Fatal(err)
			}
			closeTo(t, "acceptance limit", al, tt.al, 1e-12)
			p, err := metrology.Estimate{Value: r.Deviation, StandardUncertainty: tt.u / 2}.
				NonconformityProbability(metrology.Symmetric(4))
			if err != nil {
				t.Fatal(err)
			}
			closeTo(t, "probability outside", p, tt.outside, 0.00006)
		}
	}
}

func TestDecideNeedsUncertainty(t *testing.T) {
	r := metrology.Result{Deviation: 1, Limit: 4}
	for _, rule := range []metrology.DecisionRule{metrology.GuardBand, metrology.ManagedGuardBand} {
		_, err := r.Decide(rule)
		wantRangeError(t, err, "expanded uncertainty")
	}
	if got, err := r.Decide(metrology.SimpleAcceptance); err != nil || got != metrology.Pass {
		t.Errorf("simple acceptance without U: %v, %v", got, err)
	}
	_, err := r.Decide("by-eye")
	var unknown *metrology.UnknownDecisionRuleError
	if !errors.As(err, &unknown) {
		t.Errorf("unknown rule: %v", err)
	}
	_, err = metrology.Result{Deviation: math.NaN(), Limit: 4}.Decide(metrology.SimpleAcceptance)
	wantRangeError(t, err, "deviation")
}

// With U larger than L no result passes outright, not even a perfect one.
func TestNothingPassesWhenUncertaintyExceedsLimit(t *testing.T) {
	r := metrology.Result{Deviation: 0, Limit: 4, ExpandedUncertainty: 9}
	if got, err := r.Decide(metrology.GuardBand); err != nil || got != metrology.ConditionalPass {
		t.Errorf("guarded: %v, %v", got, err)
	}
	if got, err := r.Decide(metrology.ManagedGuardBand); err != nil || got != metrology.Fail {
		t.Errorf("managed: %v, %v", got, err)
	}
}

// M of the managed guard band (formula from memory), worked out by hand: at TUR
// 2, 0.38·0.693147 − 0.54 = −0.276604, exp 0.758355, M 0.281645.
func TestManagedGuardBand(t *testing.T) {
	for _, tt := range []struct{ tur, m float64 }{{1.5, 0.3602}, {2, 0.281645}, {3, 0.1553}, {4, 0.0531}, {4.6, 0}, {10, 0}} {
		closeTo(t, "M", metrology.ManagedGuardFactor(tt.tur), tt.m, 0.00005)
	}
	r := metrology.Result{Limit: 4, ExpandedUncertainty: 2} // TUR 2
	al, err := r.AcceptanceLimit(metrology.ManagedGuardBand)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "AL", al, 4-2*0.281645, 0.000005)
	for _, tt := range []struct {
		a    float64
		want metrology.Outcome
	}{{3.43, metrology.Pass}, {3.44, metrology.Fail}, {-3.43, metrology.Pass}} {
		r.Deviation = tt.a
		if got, err := r.Decide(metrology.ManagedGuardBand); err != nil || got != tt.want {
			t.Errorf("%g: %v, %v; want %v", tt.a, got, err, tt.want)
		}
	}
}

// JCGM 106:2012, 7.3-7.4 (examples from memory, recomputed to 40 digits): a
// Zener diode (0.92), a pressure container (0.99), an oil's viscosity (0.66).
func TestConformityProbability(t *testing.T) {
	tests := []struct {
		name      string
		estimate  metrology.Estimate
		tolerance metrology.Tolerance
		want      float64
	}{
		{"diode", metrology.Estimate{Value: -5.47, StandardUncertainty: 0.05}, metrology.AtMost(-5.40), 0.919243340766229},
		{"container", metrology.Estimate{Value: 509.7, StandardUncertainty: 8.6}, metrology.AtLeast(490), 0.9890095473848222},
		{"oil", metrology.Estimate{Value: 13.6, StandardUncertainty: 1.8}, metrology.Tolerance{Lower: 12.5, Upper: 16.3}, 0.6626297864953078},
	}
	for _, tt := range tests {
		in, err := tt.estimate.ConformityProbability(tt.tolerance)
		if err != nil {
			t.Fatal(err)
		}
		near(t, tt.name, in, tt.want, 1e-10)
		out, err := tt.estimate.NonconformityProbability(tt.tolerance)
		if err != nil {
			t.Fatal(err)
		}
		near(t, tt.name+" outside", out, 1-tt.want, 1e-10)
	}
	_, err := metrology.Estimate{Value: 1}.ConformityProbability(metrology.Symmetric(4))
	wantRangeError(t, err, "standard uncertainty")
	_, err = metrology.Estimate{Value: 1, StandardUncertainty: 1}.ConformityProbability(metrology.Tolerance{Lower: 2, Upper: 1})
	wantRangeError(t, err, "tolerance")
}

// JCGM 106:2012, 8.3.2 (from memory): on the acceptance limit of a one-sided
// guard band of 2u the probability of nonconformity is at most 2.3 %.
func TestNonconformityOnTheAcceptanceLimit(t *testing.T) {
	for _, tt := range []struct{ guard, want float64 }{{2, 0.02275013194817921}, {1.645, 0.04998490553912137}} {
		p, err := metrology.Estimate{Value: 10 - tt.guard, StandardUncertainty: 1}.NonconformityProbability(metrology.AtMost(10))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "probability", p, tt.want, 1e-10)
	}
}

func TestConformityInTheFarTailKeepsItsDigits(t *testing.T) {
	// Φ(−9) − Φ(−10), computed to 30 digits with another tool; a difference of
	// two numbers next to 1 would have no digit left.
	p, err := metrology.Estimate{Value: 0, StandardUncertainty: 1}.ConformityProbability(metrology.Tolerance{Lower: 9, Upper: 10})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "tail", p, 1.12851220742359904e-19, 1e-10)
}

// JCGM 106:2012, 7.6.3: Cm = 0.5278 for the oil (computed to 40 digits).
func TestRatios(t *testing.T) {
	oil := metrology.Tolerance{Lower: 12.5, Upper: 16.3}
	cm, err := oil.CapabilityIndex(1.8)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Cm", cm, 0.5277777777777778, 1e-12)
	tur, err := metrology.Symmetric(4).TestUncertaintyRatio(1)
	if err != nil || tur != 4 {
		t.Errorf("TUR of 4 against 1: %g, %v", tur, err)
	}
	_, err = metrology.AtMost(4).TestUncertaintyRatio(1)
	wantRangeError(t, err, "tolerance")
	_, err = oil.CapabilityIndex(0)
	wantRangeError(t, err, "standard uncertainty")
	if metrology.CustomaryTUR.Value != 4 || metrology.FalseAcceptanceCeiling.Value != 0.02 {
		t.Error("ANSI/NCSL Z540.3, 5.3b: 4:1 and 2 %")
	}
}

// JCGM 106:2012, 9.5, resistors (data from memory, integrals computed to 25
// digits with another tool): mean 1500.0, u0 0.12, um 0.04 ohm, tolerance
// 1499.8 to 1500.2, no guard band.
func TestGlobalRisk(t *testing.T) {
	tolerance := metrology.Tolerance{Lower: 1499.8, Upper: 1500.2}
	resistors := metrology.Population{Mean: 1500, StandardDeviation: 0.12}
	risk, err := resistors.GlobalRisk(tolerance, tolerance, 0.04)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "consumer's risk", risk.Consumer, 0.01894220671702911, 1e-10)
	closeTo(t, "producer's risk", risk.Producer, 0.03720780017805775, 1e-10)

	// With a perfect instrument neither side errs.
	sharp, err := resistors.GlobalRisk(tolerance, tolerance, 1e-7)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "sharp consumer", sharp.Consumer, 0, 1e-6)
	closeTo(t, "sharp producer", sharp.Producer, 0, 1e-6)

	// When nothing is rejected, the consumer takes every nonconforming one:
	// 2·Φ(−0.2/0.12) = 0.09558070454562942 (computed to 40 digits).
	everything := metrology.Tolerance{Lower: math.Inf(-1), Upper: math.Inf(1)}
	all, err := resistors.GlobalRisk(tolerance, everything, 0.04)
	if err != nil {
		t.Fatal(err)
	}
	closeTo(t, "accept all, consumer", all.Consumer, 0.09558070454562942, 1e-10)
	closeTo(t, "accept all, producer", all.Producer, 0, 1e-10)

	_, err = resistors.GlobalRisk(tolerance, tolerance, 0)
	wantRangeError(t, err, "standard uncertainty")
	_, err = metrology.Population{Mean: 1500}.GlobalRisk(tolerance, tolerance, 1)
	wantRangeError(t, err, "standard deviation of the population")
}

func TestOutcome(t *testing.T) {
	for o, want := range map[metrology.Outcome]string{
		metrology.Pass: "pass", metrology.ConditionalPass: "conditional pass",
		metrology.ConditionalFail: "conditional fail", metrology.Fail: "fail", metrology.Outcome(9): "outcome 9",
	} {
		if o.String() != want {
			t.Errorf("%d: %q, want %q", int(o), o, want)
		}
	}
	if !metrology.ConditionalPass.Accepted() || metrology.ConditionalFail.Accepted() {
		t.Error("a conditional pass is inside the tolerance, a conditional fail is not")
	}
}
