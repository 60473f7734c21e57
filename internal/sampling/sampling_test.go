package sampling_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"jointledger/internal/metrology"
	"jointledger/internal/sampling"
)

func near(t *testing.T, name string, got, want, relative float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > relative*math.Abs(want) {
		t.Errorf("%s = %.13g, want %.13g within %g relative", name, got, want, relative)
	}
}

func wantRangeError(t *testing.T, err error, field string) {
	t.Helper()
	var rangeError *metrology.RangeError
	if !errors.As(err, &rangeError) {
		t.Fatalf("error %v is no *metrology.RangeError", err)
	}
	if rangeError.Field != field || rangeError.Allowed == "" {
		t.Errorf("field %q, allowed %q; want field %q", rangeError.Field, rangeError.Allowed, field)
	}
}

// must unwraps a value that cannot fail here.
func must[T any](t *testing.T) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// MIL-STD-105E, tables I and II-A (seen): the arrows change the sample size too.
func TestNormalPlan(t *testing.T) {
	tests := []struct {
		name         string
		lot          int
		level        sampling.Level
		aql          sampling.AQL
		letter, used string
		n, accept    int
		full         bool
	}{
		{"plain", 600, sampling.LevelII, 1.0, "J", "J", 80, 2, false},
		{"down-arrow", 200, sampling.LevelII, 1.0, "G", "H", 50, 1, false},
		{"up-arrow", 100, sampling.LevelII, 1.0, "F", "E", 13, 0, false},
		{"level I", 600, sampling.LevelI, 2.5, "G", "G", 32, 2, false},
		{"special level", 600, sampling.LevelS2, 2.5, "C", "C", 5, 0, false},
		{"arrow past the lot", 8, sampling.LevelII, 0.65, "A", "F", 8, 0, true},
		{"sample is the lot", 13, sampling.LevelII, 1.0, "B", "E", 13, 0, true},
		{"one less than the lot", 14, sampling.LevelII, 1.0, "B", "E", 13, 0, false},
		{"lot of two", 2, sampling.LevelIII, 10, "B", "C", 2, 1, true},
		{"lot of one", 1, sampling.LevelII, 1.0, "", "", 1, 0, true},
		{"largest", math.MaxInt, sampling.LevelIII, 0.010, "R", "Q", 1250, 0, false},
		{"two arrows", 500_001, sampling.LevelIII, 0.015, "R", "P", 800, 0, false},
	}
	for _, tt := range tests {
		p, err := sampling.NormalPlan(tt.lot, tt.level, tt.aql)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		want := sampling.Plan{
			Single:  sampling.Single{SampleSize: tt.n, Accept: tt.accept},
			LotSize: tt.lot, Level: tt.level, AQL: tt.aql, CodeLetter: tt.letter, UsedLetter: tt.used, FullInspection: tt.full,
		}
		if p != want {
			t.Errorf("%s: %+v, want %+v", tt.name, p, want)
		}
	}
}

// Spot values of MIL-STD-105E, Table II-A (published, seen).
func TestPlanForLetter(t *testing.T) {
	for _, tt := range []struct {
		letter    string
		aql       sampling.AQL
		n, accept int
	}{
		{"A", 0.65, 20, 0}, {"B", 4.0, 3, 0}, {"D", 2.5, 5, 0}, {"E", 1.0, 13, 0}, {"F", 0.65, 20, 0}, {"F", 2.5, 20, 1},
		{"G", 1.0, 50, 1}, {"G", 2.5, 32, 2}, {"H", 1.0, 50, 1}, {"H", 4.0, 50, 5}, {"J", 0.10, 125, 0}, {"J", 0.65, 80, 1},
		{"J", 1.0, 80, 2}, {"K", 2.5, 125, 7}, {"L", 0.65, 200, 3}, {"M", 4.0, 315, 21}, {"N", 1.0, 500, 10}, {"R", 0.010, 1250, 0},
		{"A", 10, 5, 1}, {"F", 15, 20, 7},
	} {
		s, _, err := sampling.PlanForLetter(tt.letter, tt.aql)
		if err != nil || s.SampleSize != tt.n || s.Accept != tt.accept {
			t.Errorf("%s at %s: %+v, %v; want n %d, Ac %d", tt.letter, tt.aql, s, err, tt.n, tt.accept)
		}
	}
	var unknown *sampling.UnknownLetterError
	if _, _, err := sampling.PlanForLetter("I", 1.0); !errors.As(err, &unknown) {
		t.Errorf("letter I: %v", err)
	}
}

func TestPlanErrors(t *testing.T) {
	_, err := sampling.NormalPlan(0, sampling.LevelII, 1.0)
	wantRangeError(t, err, "lot size")
	_, err = sampling.CodeLetter(1, sampling.LevelII)
	wantRangeError(t, err, "lot size")
	for _, level := range []sampling.Level{"IV", "ii"} {
		_, err = sampling.NormalPlan(100, level, 1.0)
		var unknownLevel *sampling.UnknownLevelError
		if !errors.As(err, &unknownLevel) || len(unknownLevel.Allowed) != 7 {
			t.Errorf("level %s: %v", level, err)
		}
	}
	_, err = sampling.NormalPlan(100, sampling.LevelII, 2)
	var unknownAQL *sampling.UnknownAQLError
	if !errors.As(err, &unknownAQL) || len(unknownAQL.Allowed) != 26 || !strings.Contains(err.Error(), "1.5, 2.5") {
		t.Errorf("AQL 2: %v", err)
	}
}

func TestParse(t *testing.T) {
	for text, want := range map[string]sampling.AQL{"0.65": 0.65, ".65": 0.65, "1": 1, "1.00 %": 1, " 2.5% ": 2.5, "1000": 1000} {
		if got, err := sampling.ParseAQL(text); err != nil || got != want {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	for _, text := range []string{"", "two", "NaN", "-1", "0.66", "Inf"} {
		if _, err := sampling.ParseAQL(text); err == nil {
			t.Errorf("%q was read", text)
		}
	}
	for text, want := range map[string]sampling.Level{"ii": sampling.LevelII, "S3": sampling.LevelS3, "s-4": sampling.LevelS4, " I ": sampling.LevelI} {
		if got, err := sampling.ParseLevel(text); err != nil || got != want {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
	if len(sampling.Levels()) != 7 || len(sampling.AQLs()) != 26 {
		t.Error("7 levels and 26 AQLs")
	}
	if sampling.AQL(10).PerHundredUnits() || !sampling.AQL(15).PerHundredUnits() {
		t.Error("AQLs above 10 count nonconformities per 100 units")
	}
}

func FuzzParseAQL(f *testing.F) {
	for _, seed := range []string{"0.65", "1e0", "%", "1_0", "0x1p0", "١"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		aql, err := sampling.ParseAQL(text)
		if err != nil {
			var unknown *sampling.UnknownAQLError
			if !errors.As(err, &unknown) {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		if again, err := sampling.ParseAQL(aql.String()); err != nil || again != aql {
			t.Fatalf("%q gave %v, which reads back as %v, %v", text, aql, again, err)
		}
		if _, _, err := sampling.PlanForLetter("J", aql); err != nil {
			t.Fatalf("%q gave %v without a plan: %v", text, aql, err)
		}
	})
}

// The 10 % rule (from memory) and its power, worked out by hand from binomial
// coefficients: 24 bolts, 2 loose, 3 taken: 1 − C(22,3)/C(24,3) = 0.2391; 48, 2,
// 5: 0.1995.
func TestJointAuditRule(t *testing.T) {
	rule := sampling.JointAuditRule()
	if rule.Source.Mark != metrology.Memory || rule.Percent != 10 || rule.Minimum != 2 {
		t.Errorf("rule %+v", rule)
	}
	for lot, want := range map[int]int{1: 1, 2: 2, 4: 2, 12: 2, 20: 2, 21: 3, 24: 3, 30: 3, 48: 5, 70: 7, 100: 10, 101: 11, 1000: 100, math.MaxInt: math.MaxInt/10 + 1} {
		if got := must[int](t)(rule.SampleSize(lot)); got != want {
			t.Errorf("lot %d: %d, want %d", lot, got, want)
		}
	}
	near(t, "24 bolts", must[float64](t)(rule.DetectionPower(sampling.Lot{Size: 24, Nonconforming: 2})), 0.2391, 3e-4)
	near(t, "48 bolts", must[float64](t)(rule.DetectionPower(sampling.Lot{Size: 48, Nonconforming: 2})), 0.1995, 3e-4)
	if got := must[float64](t)(rule.DetectionPower(sampling.Lot{Size: 24})); got != 0 {
		t.Errorf("nothing to find was found with %g", got)
	}
	if got := must[float64](t)(rule.DetectionPower(sampling.Lot{Size: 24, Nonconforming: 22})); got != 1 {
		t.Errorf("3 of 24 with 22 loose must hold one: %g", got)
	}
	_, err := rule.SampleSize(0)
	wantRangeError(t, err, "lot size")
	_, err = rule.DetectionPower(sampling.Lot{Size: 10, Nonconforming: 11})
	wantRangeError(t, err, "nonconforming items")
}

func TestCautions(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range sampling.Cautions() {
		if c.Topic == "" || c.Text == "" || c.DefersTo == "" || seen[c.Topic] {
			t.Errorf("caution %+v is incomplete or its topic is not unique", c)
		}
		seen[c.Topic] = true
	}
	if !seen["sampling-isolated-lot"] || !seen["sampling-power"] {
		t.Errorf("cautions %v", seen)
	}
	if sampling.Standard.Edition == "" || sampling.Standard.Mark != metrology.Seen {
		t.Errorf("source %v", sampling.Standard)
	}
}
