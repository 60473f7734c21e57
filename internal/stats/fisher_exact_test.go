package stats

import (
	"fmt"
	"math"
	"math/big"
	"testing"
)

func fisherThree(t *testing.T, a, b, c, d int64) (two, less, greater float64) {
	t.Helper()
	var errs [3]error
	two, errs[0] = FisherExact(a, b, c, d)
	less, errs[1] = FisherExactLess(a, b, c, d)
	greater, errs[2] = FisherExactGreater(a, b, c, d)
	for _, err := range errs {
		if err != nil {
			t.Fatalf("(%d, %d), (%d, %d): %v", a, b, c, d, err)
		}
	}
	return two, less, greater
}

// The worked examples of R's help page fisher.test. Tea tasting: R. A. Fisher,
// The Design of Experiments (1935); 17/70 one-sided, 34/70 two-sided.
// Convictions of like-sex twins: Fisher, J. Roy. Statist. Soc. A 125 (1962)
// 604-607; the one-sided value to 15 digits by mpmath 1.2.1, the two-sided one
// by R 4.2.2.
func TestFisherExactPublished(t *testing.T) {
	two, _, greater := fisherThree(t, 3, 1, 1, 3)
	closeTo(t, "tea, greater", greater, 17.0/70, 1e-13)
	rounds(t, "tea, greater", greater, 0.2429, 1e-4)
	closeTo(t, "tea, two-sided", two, 34.0/70, 1e-13)
	rounds(t, "tea, two-sided", two, 0.4857, 1e-4)

	two, less, _ := fisherThree(t, 2, 15, 10, 3)
	closeTo(t, "convictions, less", less, 4.65180943362905e-4, 1e-13)
	rounds(t, "convictions, less", less, 0.0004652, 1e-7)
	closeTo(t, "convictions, two-sided", two, 0.000536724119143, 1e-12)
	rounds(t, "convictions, two-sided", two, 0.0005367, 1e-7)
}

// Every table with counts up to 5, against the definition in whole numbers:
// the tables with the same margins are weighted C(a+b, k)·C(c+d, a+c−k).
func TestFisherExactDefinition(t *testing.T) {
	const most = 5
	for a := int64(0); a <= most; a++ {
		for b := int64(0); b <= most; b++ {
			for c := int64(0); c <= most; c++ {
				for d := int64(0); d <= most; d++ {
					if a+b+c+d == 0 {
						continue
					}
					wantTwo, wantLess, wantGreater := fisherByCounting(a, b, c, d)
					two, less, greater := fisherThree(t, a, b, c, d)
					name := fmt.Sprintf("(%d, %d), (%d, %d)", a, b, c, d)
					closeTo(t, name+" two-sided", two, wantTwo, 1e-12)
					closeTo(t, name+" less", less, wantLess, 1e-12)
					closeTo(t, name+" greater", greater, wantGreater, 1e-12)
				}
			}
		}
	}
}

func fisherByCounting(a, b, c, d int64) (two, less, greater float64) {
	weight := func(k int64) *big.Int {
		if k > a+c {
			return new(big.Int)
		}
		w := new(big.Int).Binomial(a+b, k)
		return w.Mul(w, new(big.Int).Binomial(c+d, a+c-k))
	}
	observed := weight(a)
	sums := [3]*big.Int{new(big.Int), new(big.Int), new(big.Int)}
	all := new(big.Int)
	for k := int64(0); k <= a+b; k++ {
		w := weight(k)
		all.Add(all, w)
		for i, counts := range [3]bool{w.Cmp(observed) <= 0, k <= a, k >= a} {
			if counts {
				sums[i].Add(sums[i], w)
			}
		}
	}
	share := func(part *big.Int) float64 {
		f, _ := new(big.Rat).SetFrac(part, all).Float64()
		return f
	}
	return share(sums[0]), share(sums[1]), share(sums[2])
}

// Tables of ten to forty million, with few failures and with many: mpmath 1.3.0
// with 60 digits, by walking the support out from the mode by exact ratios,
// the tie slack of 1e-7 applied. 16 digits were printed.
func TestFisherExactManyAttempts(t *testing.T) {
	for _, c := range []struct {
		a, b, c, d         int64
		two, less, greater float64
	}{
		{20, 1980, 49980, 9948020, 0.00385641668766316, 0.9984598302374799, 0.003367565480479964},
		{3, 9997, 49997, 9940003, 8.251507945890809e-18, 3.736688945026536e-18, 1},
		{25000, 4975000, 25500, 4974500, 0.02600323972583525, 0.01300161986291763, 0.9872941491976603},
		{5000100, 4999900, 4999900, 5000100, 0.9290854823281557, 0.5358126591974706, 0.4645427411640778},
		{10000100, 9999900, 9998000, 10002000, 0.5068425972058226, 0.7467810863060636, 0.2534212986029113},
		{60, 9940, 30000, 19970000, 1.676461921270514e-18, 1, 1.676461921270514e-18},
		{0, 500, 200000, 39799500, 0.1898884098608973, 0.08157058303639622, 1},
		{250, 49750, 200000, 39750000, 1, 0.5089060330734708, 0.5163910084383171},
		{200000, 19800000, 203000, 19797000, 2.052828563688745e-6, 1.026414281844373e-6, 0.9999989895318693},
		{1, 0, 9999999, 30000000, 0.25, 1, 0.25},
		{12, 1, 30, 9999957, 6.885938765400686e-65, 1, 6.885938765400686e-65},
		{0, 30000000, 25, 10000000, 8.88200069289956e-16, 8.88200069289956e-16, 1},
	} {
		name := fmt.Sprintf("(%d, %d), (%d, %d)", c.a, c.b, c.c, c.d)
		two, less, greater := fisherThree(t, c.a, c.b, c.c, c.d)
		closeTo(t, name+" two-sided", two, c.two, 1e-12)
		closeTo(t, name+" less", less, c.less, 1e-12)
		closeTo(t, name+" greater", greater, c.greater, 1e-12)
	}
}

// The test does not depend on which group or outcome is named first.
func TestFisherExactSymmetry(t *testing.T) {
	two, less, greater := fisherThree(t, 20, 1980, 49980, 9948020)
	rows, _, _ := fisherThree(t, 49980, 9948020, 20, 1980)
	columns, lessColumns, greaterColumns := fisherThree(t, 1980, 20, 9948020, 49980)
	transposed, _, _ := fisherThree(t, 20, 49980, 1980, 9948020)
	closeTo(t, "rows swapped", rows, two, 1e-12)
	closeTo(t, "columns swapped", columns, two, 1e-12)
	closeTo(t, "transposed", transposed, two, 1e-12)
	closeTo(t, "columns swapped, less", lessColumns, greater, 1e-12)
	closeTo(t, "columns swapped, greater", greaterColumns, less, 1e-12)
}

func TestFisherExactEmptyMargin(t *testing.T) {
	for _, c := range [][4]int64{{0, 0, 3, 4}, {3, 4, 0, 0}, {0, 5, 0, 6}, {5, 0, 6, 0}, {0, 0, 0, 1}, {MaxCount, 0, 0, 0}} {
		two, less, greater := fisherThree(t, c[0], c[1], c[2], c[3])
		if two != 1 || less != 1 || greater != 1 {
			t.Errorf("%v: %g, %g, %g, want 1 for all", c, two, less, greater)
		}
	}
}

// A table so improbable that its probability is below the smallest float64.
func TestFisherExactUnderflow(t *testing.T) {
	two, less, greater := fisherThree(t, 10000000, 0, 0, 10000000)
	if two != 0 || greater != 0 || less != 1 {
		t.Errorf("%g, %g, %g, want 0, 1, 0", two, less, greater)
	}
}

func TestFisherExactRefuses(t *testing.T) {
	for _, c := range []struct {
		table              [4]int64
		argument, sentence string
	}{
		{[4]int64{-1, 2, 3, 4}, "a", "a is -1, but must be at least 0"},
		{[4]int64{1, -2, 3, 4}, "b", "b is -2, but must be at least 0"},
		{[4]int64{1, 2, -3, 4}, "c", "c is -3, but must be at least 0"},
		{[4]int64{1, 2, 3, math.MinInt64}, "d", "d is -9223372036854775808, but must be at least 0"},
		{[4]int64{1, 2, 3, math.MaxInt64}, "d", "d is 9223372036854775807, but must be at most 1099511627776"},
		{[4]int64{0, 0, 0, 0}, "the sum of the table's counts", "the sum of the table's counts is 0, but must lie between 1 and 1099511627776"},
		{[4]int64{MaxCount, 1, 0, 0}, "the sum of the table's counts", "the sum of the table's counts is 1099511627777, but must lie between 1 and 1099511627776"},
	} {
		for _, test := range []func(a, b, c, d int64) (float64, error){FisherExact, FisherExactLess, FisherExactGreater} {
			_, err := test(c.table[0], c.table[1], c.table[2], c.table[3])
			refused(t, err, c.argument, c.sentence)
		}
	}
}
