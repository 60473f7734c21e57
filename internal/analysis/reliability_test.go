package analysis

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"jointledger/internal/ledger"
	"jointledger/internal/stats"
)

// intervalsOf makes n intervals of the given months, the first `out` of them out
// of tolerance.
func intervalsOf(tool ledger.Tool, n, out int, length float64) []ToolInterval {
	start := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
	var list []ToolInterval
	for i := range n {
		t := tool
		t.Serial = fmt.Sprintf("%s-%d", tool.Serial, i%7)
		end := start.Add(time.Duration(length * hoursPerMonth * float64(time.Hour)))
		list = append(list, ToolInterval{Tool: t, Start: start, End: end, InTolerance: i >= out})
	}
	return list
}

func reliabilityOf(t *testing.T, list []ToolInterval, o ReliabilityOptions) FamilyReliability {
	t.Helper()
	a, err := Reliability(list, o)
	if err != nil {
		t.Fatal(err)
	}
	if len(a.Families) != 1 {
		t.Fatalf("%d families", len(a.Families))
	}
	return a.Families[0]
}

var yearly = ledger.Tool{Serial: "TW", Kind: ledger.ToolTorqueWrench, TypeClass: "ii a", MaximumNewtonMetres: 200, IntervalMonths: 12}

// Trade reference, G: 12 months, 80 % in tolerance, 95 % wanted → 2.758 months.
func TestReliabilityShortens(t *testing.T) {
	f := reliabilityOf(t, intervalsOf(yearly, 20, 4, 12), ReliabilityOptions{})
	m := f.Months
	if m.Action != ShortenInterval || m.Estimate == nil || !m.PresentFromPolicy {
		t.Fatalf("%+v", m)
	}
	if math.Abs(m.Recommended-2.758) > 0.001 || !(*m.Lower < 2.758 && 2.758 < *m.Upper) {
		t.Errorf("recommended %v, limits %v to %v", m.Recommended, *m.Lower, *m.Upper)
	}
	// The same reference: P(X ≤ 16) of 20 at 0.95 is 0.0159.
	if math.Abs(f.PBelowTarget-0.0159) > 1e-4 || f.Tools != 7 || f.Calibrations != 20 {
		t.Errorf("%+v", f)
	}
}

// 17 of 20 at a target of 0.95 has probability 0.0755: keep (trade reference, G).
func TestReliabilityKeepsOnWeakEvidence(t *testing.T) {
	f := reliabilityOf(t, intervalsOf(yearly, 20, 3, 12), ReliabilityOptions{})
	if f.Months.Upper == nil || *f.Months.Upper < 12 {
		t.Fatalf("upper limit %v", f.Months.Upper)
	}
	if f.Months.Action != KeepInterval || f.Months.Recommended != 12 || math.Abs(f.PBelowTarget-0.0755) > 1e-4 {
		t.Errorf("%+v", f)
	}
}

// With 59 of 59 in tolerance the one-sided bound lies above the present interval
// (0.95^59 < 0.05), with 58 below it; from fewer than the stated number nothing is
// lengthened, however good.
func TestReliabilityLengthens(t *testing.T) {
	for n, want := range map[int]IntervalAction{58: KeepInterval, 59: LengthenInterval} {
		if f := reliabilityOf(t, intervalsOf(yearly, n, 0, 12), ReliabilityOptions{}); f.Months.Action != want {
			t.Errorf("%d of %d: %+v", n, n, f.Months)
		}
	}
	f := reliabilityOf(t, intervalsOf(yearly, 400, 0, 12), ReliabilityOptions{})
	if f.Months.Recommended != 18 || !strings.Contains(f.Months.Reason, "1.5") {
		t.Errorf("not held to the cap: %+v", f.Months)
	}
	if f.Months.Estimate != nil || f.Months.Upper != nil {
		t.Errorf("an estimate out of successes only: %+v", f.Months)
	}
	f = reliabilityOf(t, intervalsOf(yearly, 400, 0, 12), ReliabilityOptions{LeastResults: 401})
	if f.Months.Action != KeepInterval || !strings.Contains(f.Months.Reason, "400 results") {
		t.Errorf("lengthened from too few: %+v", f.Months)
	}
	few := intervalsOf(yearly, 5, 0, 400) // five long ones prove much, but are few
	if f = reliabilityOf(t, few, ReliabilityOptions{}); f.Months.Action != KeepInterval || !strings.Contains(f.Months.Reason, "at least 20") {
		t.Errorf("lengthened from five: %+v", f.Months)
	}
}

func TestReliabilityNothingInTolerance(t *testing.T) {
	f := reliabilityOf(t, intervalsOf(yearly, 4, 4, 12), ReliabilityOptions{})
	if f.Months.Action != ShortenInterval || f.Months.Estimate != nil || f.Months.Upper == nil || !(f.Months.Recommended < 12) || f.Months.Recommended <= 0 {
		t.Errorf("%+v", f.Months)
	}
	f = reliabilityOf(t, intervalsOf(yearly, 1, 1, 12), ReliabilityOptions{})
	if f.Months.Action != KeepInterval {
		t.Errorf("one result changed the interval: %+v", f.Months)
	}
}

func TestReliabilityFamilies(t *testing.T) {
	small := yearly
	small.Serial, small.TypeClass, small.MaximumNewtonMetres, small.IntervalMonths = "SM", "II-A", 25, 0
	list := append(intervalsOf(yearly, 10, 1, 12), intervalsOf(small, 8, 4, 6)...)
	for i := range list {
		list[i].Cycles = int64(100 * (i % 3))
	}
	list = append(list, ToolInterval{Tool: yearly, Start: list[0].End, End: list[0].End})
	a, err := Reliability(list, ReliabilityOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if a.LeftOut != 1 || len(a.Families) != 2 {
		t.Fatalf("%d left out, %d families", a.LeftOut, len(a.Families))
	}
	low, high := a.Families[0], a.Families[1]
	if low.Family.String() != "torque-wrench II-A, above 10 to 100 N·m" || high.Family.String() != "torque-wrench II-A, above 100 to 400 N·m" {
		t.Errorf("families %s; %s", low.Family, high.Family)
	}
	if low.Months.PresentFromPolicy || math.Abs(low.Months.Present-6) > 1e-6 || low.Cycles == nil || low.Cycles.Present <= 0 {
		t.Errorf("%+v", low)
	}
	slices.Reverse(list)
	b, err := Reliability(list, ReliabilityOptions{})
	if err != nil || b.Headline != a.Headline || b.Families[0].Sentence != a.Families[0].Sentence {
		t.Errorf("the answer depends on the order: %v", err)
	}
	for _, f := range a.Families {
		if strings.Contains(f.Sentence, "NaN") || strings.Contains(f.Sentence, "Inf") {
			t.Errorf("%q", f.Sentence)
		}
	}
	if a, err := Reliability(nil, ReliabilityOptions{}); err != nil || a.Headline == "" {
		t.Errorf("nothing on record: %v", err)
	}
}

func TestReliabilityRefuses(t *testing.T) {
	for _, o := range []ReliabilityOptions{
		{Target: 1}, {Target: math.NaN()}, {Confidence: -0.5}, {GrowthCap: 0.5}, {GrowthCap: math.Inf(1)}, {LeastResults: -1},
	} {
		var bad *stats.ArgumentError
		if _, err := Reliability(nil, o); !errors.As(err, &bad) {
			t.Errorf("%+v: %v", o, err)
		}
	}
}
