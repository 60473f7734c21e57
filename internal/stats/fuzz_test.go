package stats

import (
	"math"
	"testing"
)

// FuzzProportion holds the promises of [Proportion] for any argument: either a
// refusal, or limits in order, inside [0, 1], containing the estimate, and not
// falling when one more attempt fails.
func FuzzProportion(f *testing.F) {
	f.Add(int64(0), int64(1), 0.95)
	f.Add(int64(1), int64(1), 0.95)
	f.Add(int64(81), int64(263), 0.95)
	f.Add(int64(0), int64(10_000_000), 0.999)
	f.Add(int64(50_000), int64(10_000_000), 0.5)
	f.Add(int64(MaxCount-1), int64(MaxCount), 0.95)
	f.Add(int64(MaxCount/2), int64(MaxCount), 1e-300)
	f.Add(int64(1), int64(MaxCount), 1-0x1p-53)
	f.Add(int64(-1), int64(0), math.NaN())
	f.Fuzz(func(t *testing.T, failures, attempts int64, confidence float64) {
		for _, method := range []ProportionMethod{Wilson, ClopperPearson, Jeffreys} {
			_, err := Proportion(failures, attempts, method, confidence)
			valid := attempts >= 1 && attempts <= MaxCount && failures >= 0 && failures <= attempts && confidence > 0 && confidence < 1
			if valid != (err == nil) {
				t.Fatalf("%s %d/%d at %g: error %v", method, failures, attempts, confidence, err)
			}
			// Most arguments are refused; folded into the range, all count.
			for _, largest := range []int64{30, 1e7, MaxCount} {
				n := 1 + fold(attempts, largest-1)
				proportionPromises(t, fold(failures, n), n, method, foldConfidence(confidence))
			}
		}
	})
}

func proportionPromises(t *testing.T, failures, attempts int64, method ProportionMethod, confidence float64) {
	got, err := Proportion(failures, attempts, method, confidence)
	if err != nil {
		t.Fatalf("%s %d/%d at %g: %v", method, failures, attempts, confidence, err)
	}
	if !(0 <= got.Lower && got.Lower <= got.Upper && got.Upper <= 1) {
		t.Errorf("%s %d/%d at %g: %v is not an interval in [0, 1]", method, failures, attempts, confidence, got)
	}
	// Jeffreys intervals of low confidence may miss the estimate, as
	// documented.
	estimate := float64(failures) / float64(attempts)
	if (method != Jeffreys || confidence >= 0.5) && !(got.Lower <= estimate && estimate <= got.Upper) {
		t.Errorf("%s %d/%d at %g: %v does not contain %g", method, failures, attempts, confidence, got, estimate)
	}
	if failures == attempts {
		return
	}
	next, err := Proportion(failures+1, attempts, method, confidence)
	if err != nil || next.Lower < got.Lower || next.Upper < got.Upper {
		t.Errorf("%s at %g: %d/%d gives %v, one more failure %v, %v", method, confidence, failures, attempts, got, next, err)
	}
}

// fold brings any whole number into [0, most].
func fold(value, most int64) int64 { return int64(uint64(value) % uint64(most+1)) }

// foldConfidence brings any number between 0 and 1, both excluded.
func foldConfidence(value float64) float64 {
	if value > 0 && value < 1 {
		return value
	}
	if _, fraction := math.Modf(math.Abs(value)); fraction > 0 {
		return fraction
	}
	return 0.95
}

// FuzzPoissonRate holds the same promises for [PoissonRate], and that mid-P
// intervals lie inside the exact ones. It keeps to counts that are quick.
func FuzzPoissonRate(f *testing.F) {
	f.Add(int64(0), 1.0, 0.95)
	f.Add(int64(1), 1e-3, 0.95)
	f.Add(int64(137), 24.19893, 0.95)
	f.Add(int64(10_000_000), 1e9, 0.999)
	f.Add(int64(5), 1.0, 1e-12)
	f.Add(int64(2), 1e300, 1-0x1p-53)
	f.Add(int64(-4), math.Inf(1), 2.0)
	f.Fuzz(func(t *testing.T, count int64, exposure, confidence float64) {
		_, err := PoissonRate(count, exposure, Garwood, confidence)
		valid := count >= 0 && count <= MaxCount && exposure > 0 && !math.IsInf(exposure, 1) && confidence > 0 && confidence < 1
		if !valid && err == nil {
			t.Fatalf("%d in %g at %g: no error", count, exposure, confidence)
		}
		if !(exposure > 0) || math.IsInf(exposure, 1) {
			exposure = 1
		}
		for _, largest := range []int64{30, 1e7} {
			poissonPromises(t, fold(count, largest), exposure, foldConfidence(confidence))
		}
	})
}

func poissonPromises(t *testing.T, count int64, exposure, confidence float64) {
	exact, err := PoissonRate(count, exposure, Garwood, confidence)
	if err != nil {
		// Only the rate's overflow is left to refuse.
		if !math.IsInf((float64(count)+1)*1e3/exposure, 1) {
			t.Fatalf("%d in %g at %g: %v", count, exposure, confidence, err)
		}
		return
	}
	if estimate := float64(count) / exposure; !(0 <= exact.Lower && exact.Lower <= estimate && estimate <= exact.Upper) {
		t.Errorf("%d in %g at %g: %v does not contain %g", count, exposure, confidence, exact, estimate)
	}
	mid, err := PoissonRate(count, exposure, MidP, confidence)
	if err != nil || mid.Lower < exact.Lower || mid.Upper > exact.Upper || mid.Lower > mid.Upper {
		t.Errorf("%d in %g at %g: mid-P %v, exact %v, %v", count, exposure, confidence, mid, exact, err)
	}
	for method, got := range map[PoissonMethod]Interval{Garwood: exact, MidP: mid} {
		next, err := PoissonRate(count+1, exposure, method, confidence)
		if err == nil && (next.Lower < got.Lower || next.Upper < got.Upper) {
			t.Errorf("%s at %g: %d gives %v, one more %v", method, confidence, count, got, next)
		}
	}
}

// FuzzFisherExact holds, for any table, that it is refused or has p-values that
// are probabilities, agree with each other, and do not depend on which row is
// named first.
func FuzzFisherExact(f *testing.F) {
	f.Add(int64(3), int64(1), int64(1), int64(3))
	f.Add(int64(2), int64(15), int64(10), int64(3))
	f.Add(int64(20), int64(1980), int64(49_980), int64(9_948_020))
	f.Add(int64(0), int64(0), int64(0), int64(7))
	f.Add(int64(0), int64(0), int64(0), int64(0))
	f.Add(int64(MaxCount/4), int64(MaxCount/4), int64(MaxCount/4), int64(MaxCount/4))
	f.Add(int64(-1), int64(1), int64(1), int64(1))
	f.Fuzz(func(t *testing.T, a, b, c, d int64) {
		_, err := FisherExact(a, b, c, d)
		valid := inRange(a) && inRange(b) && inRange(c) && inRange(d) && a+b+c+d >= 1 && a+b+c+d <= MaxCount
		if valid != (err == nil) {
			t.Fatalf("(%d, %d), (%d, %d): %v", a, b, c, d, err)
		}
		for _, largest := range []int64{20, 1e7} {
			fisherPromises(t, fold(a, largest), fold(b, largest), fold(c, largest), 1+fold(d, largest))
			// Failures are rare beside attempts.
			fisherPromises(t, fold(a, 20), fold(b, largest), fold(c, 500), 1+fold(d, largest))
		}
	})
}

func fisherPromises(t *testing.T, a, b, c, d int64) {
	p, less, greater := fisherThree(t, a, b, c, d)
	for _, value := range []float64{p, less, greater} {
		if !(value >= 0 && value <= 1) {
			t.Errorf("(%d, %d), (%d, %d): %g, %g, %g are not probabilities", a, b, c, d, p, less, greater)
		}
	}
	// Both one-sided ones hold the observed table, and the two-sided one holds
	// the smaller of them whole.
	if less+greater < 1 || p < math.Min(less, greater)*(1-1e-9) {
		t.Errorf("(%d, %d), (%d, %d): two-sided %g, less %g, greater %g", a, b, c, d, p, less, greater)
	}
	swapped, _, _ := fisherThree(t, c, d, a, b)
	if math.Abs(swapped-p) > 1e-9*p {
		t.Errorf("(%d, %d), (%d, %d): %g, with rows swapped %g", a, b, c, d, p, swapped)
	}
}

func inRange(count int64) bool { return count >= 0 && count <= MaxCount }

// FuzzAdjusted holds that adjusting never lowers a p-value, never passes 1,
// keeps their order, and that Holm's is never below Benjamini and Hochberg's.
func FuzzAdjusted(f *testing.F) {
	f.Add(0.01, 0.02, 0.02, 1.0)
	f.Add(0.0, 0.0, 0.5, 5e-324)
	f.Add(0.3, math.NaN(), -0.1, 2.0)
	f.Fuzz(func(t *testing.T, p1, p2, p3, p4 float64) {
		p := []float64{p1, p2, p3, p4}
		_, err := Holm(p)
		_, err2 := BenjaminiHochberg(p)
		valid := true
		for _, value := range p {
			valid = valid && value >= 0 && value <= 1
		}
		if valid != (err == nil) || valid != (err2 == nil) {
			t.Fatalf("%v: %v, %v", p, err, err2)
		}
		if !valid {
			for i := range p {
				p[i] = foldConfidence(p[i])
			}
		}
		adjustedPromises(t, p)
	})
}

func adjustedPromises(t *testing.T, p []float64) {
	holm, err := Holm(p)
	if err != nil {
		t.Fatal(err)
	}
	hochberg, err := BenjaminiHochberg(p)
	if err != nil {
		t.Fatal(err)
	}
	for i := range p {
		if !(p[i] <= hochberg[i] && hochberg[i] <= holm[i] && holm[i] <= 1) {
			t.Errorf("%v: Benjamini-Hochberg %v, Holm %v", p, hochberg, holm)
		}
		for j := range p {
			if p[i] < p[j] && (hochberg[i] > hochberg[j] || holm[i] > holm[j]) {
				t.Errorf("%v: order lost in %v or %v", p, hochberg, holm)
			}
		}
	}
}
