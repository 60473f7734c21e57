package stats

import (
	"math"
	"testing"
)

// Values to 16 digits by mpmath 1.2.1 with 40-digit arithmetic, from the
// definitions in the NIST Digital Library of Mathematical Functions 8.17; where
// a closed form exists it is named.
func TestIncompleteBeta(t *testing.T) {
	for _, c := range []struct {
		name             string
		a, b, x, y, want float64
		tolerance        float64
	}{
		{"(2/π)·asin √x", 0.5, 0.5, 1e-10, 1 - 1e-10, 6.366197723781917e-6, 1e-12},
		{"(2/π)·asin √x near 1", 0.5, 0.5, 0.999999, 1e-6, 0.9993633801215291, 1e-12},
		{"symmetry", 10, 10, 0.5, 0.5, 0.5, 1e-12},
		{"a polynomial", 2, 3, 0.4, 0.6, 0.5248, 1e-12},
		{"small a", 0.001, 1000, 1e-6, 1 - 1e-6, 0.9936871512713972, 1e-12},
		{"small b", 1000, 0.001, 0.999999, 1e-6, 0.006312848728602813, 1e-12},
		{"a proportion of 264", 81, 183, 0.3, 0.7, 0.4114615980954786, 1e-12},
		{"30 in a million", 30, 1e6, 2e-5, 1 - 2e-5, 0.02182435075509415, 1e-10},
		{"1−(1−x)^b", 1, 1e6, 1e-7, 1 - 1e-7, 0.09516258648822781, 1e-10},
		{"far tail", 20, 30, 0.001, 0.999, 2.750687665855992e-47, 1e-12},
		// Ten million attempts: mpmath 1.3.0, 50 digits, by the continued
		// fraction of NIST Digital Library of Mathematical Functions 8.17.22.
		{"below the mean", 50000, 9950001, 0.0049, 0.9951, 3.2117882611701898e-6, 1e-11},
		{"at the mean", 50000, 9950001, 0.005, 0.995, 0.50059918146811801, 1e-11},
		{"half", 5000000, 5000001, 0.5, 0.5, 0.500126156622947092, 1e-11},
		{"20 failures, above", 20, 1e7, 3e-6, 1 - 3e-6, 0.978127188697183361, 1e-11},
		{"Jeffreys with no failure", 0.5, 10000000.5, 1e-7, 1 - 1e-7, 0.842700808516246206, 1e-11},
		{"far below", 3000000, 7000000, 0.2985, 0.7015, 1.86923870632551665e-25, 1e-11},
	} {
		closeTo(t, c.name, math.Exp(logIncompleteBeta(c.a, c.b, c.x, c.y).log), c.want, c.tolerance)
	}
}

// The derivative is checked against the density in the logit, x^a·y^b/B(a,b),
// over I_x(a,b): for a = b = 1 that is y, for a = 2, b = 1 it is 2y.
func TestIncompleteBetaSlope(t *testing.T) {
	for _, x := range []float64{1e-9, 0.01, 0.3, 0.5, 0.7, 0.99} {
		closeTo(t, "uniform", logIncompleteBeta(1, 1, x, 1-x).slope, 1-x, 1e-13)
		closeTo(t, "square", logIncompleteBeta(2, 1, x, 1-x).slope, 2*(1-x), 1e-13)
	}
}

// Values as in TestIncompleteBeta; the closed forms are sin²(πp/2) for
// a = b = 1/2 and 1−(1−p)^(1/b) for a = 1.
func TestBetaQuantile(t *testing.T) {
	for _, c := range []struct {
		name          string
		a, b, p, want float64
		tolerance     float64
	}{
		{"Clopper-Pearson 81/263", 81, 183, 0.025, 0.2527367455852712, 1e-12},
		{"Clopper-Pearson 1/29", 1, 29, 0.025, 8.72646883579922e-4, 1e-12},
		{"Jeffreys 0/20", 0.5, 20.5, 0.975, 0.1166389829048754, 1e-12},
		{"arcsine", 0.5, 0.5, 1e-8, 2.467401100272339e-16, 1e-12},
		{"a = 1", 1, 1e6, 0.95, 2.995727786352544e-6, 1e-10},
		{"3 in a hundred thousand", 3, 1e5, 1e-6, 1.825409875682549e-7, 1e-10},
	} {
		x, y := betaQuantile(c.a, c.b, c.p)
		closeTo(t, c.name, x, c.want, c.tolerance)
		closeTo(t, c.name+", complement", y, 1-c.want, 1e-15)
	}
}

// At the ends of float64 the iteration must still end, with the right value
// where it can be represented: for b = 1 the quantile is p^(1/a).
func TestBetaQuantileEnds(t *testing.T) {
	for _, c := range []struct {
		name          string
		a, b, p, want float64
	}{
		{"p = 1", 3, 4, 1, 1},
		{"p just below 1", 1, 1, 1 - 0x1p-53, 1 - 0x1p-53},
		{"p = 1e-300", 2, 1, 1e-300, 1e-150},
		{"smallest p", 1, 1, 1e-303, 1e-303},
		{"below the range of the logit", 0.5, 1, 1e-300, 0},
	} {
		x, y := betaQuantile(c.a, c.b, c.p)
		closeTo(t, c.name, x, c.want, 1e-12)
		closeTo(t, c.name+", complement", y, 1-c.want, 1e-12)
	}
	// Most of this variable's probability lies within e^−700 of 1.
	if x, y := betaQuantile(1000, 1e-5, 0.4); x != 1 || y != 0 {
		t.Errorf("below the range of the complement: %g and %g, want 1 and 0", x, y)
	}
	// The mirror image of the last case comes back as exactly 1.
	if y, x := betaQuantile(0.5, 1, 1e-300); x != 1 || y != 0 {
		t.Errorf("beyond the range of the logit: %g and %g, want 0 and 1", y, x)
	}
}

// Values to 16 digits by mpmath 1.2.1 with 40-digit arithmetic, from the
// definitions in the NIST Digital Library of Mathematical Functions 8.2; P(1,x)
// is 1−e^−x. The rows for a = 1e4 and 1e7 beyond two standard deviations:
// mpmath 1.3.0, 40 digits, by the series 8.7.1 and the continued fraction 8.9.2.
func TestIncompleteGamma(t *testing.T) {
	for _, c := range []struct {
		name       string
		tail       func(a, x float64) logTail
		a, x, want float64
	}{
		{"P", logLowerGamma, 1, 1e-12, 9.999999999995e-13},
		{"P", logLowerGamma, 0.5, 0.5, 0.6826894921370859},
		{"P", logLowerGamma, 1e-6, 1e-6, 0.9999867617909103},
		{"P", logLowerGamma, 100, 100, 0.5132987982791487},
		{"Q", logUpperGamma, 100, 150, 5.924540335483916e-6},
		{"P", logLowerGamma, 10000, 9700, 0.001234175584468492},
		{"Q", logUpperGamma, 2.5, 80, 9.898229019203791e-33},
		{"P", logLowerGamma, 30, 3, 4.277047721426897e-20},
		{"chi-square(1) above 300", logUpperGamma, 0.5, 150, 3.294362383314041e-67},
		{"P", logLowerGamma, 1e4, 9400, 4.6485246081212703e-10},
		{"Q", logUpperGamma, 1e4, 10600, 1.9621924821330469e-9},
		{"P", logLowerGamma, 1e7, 9993675.444679663, 0.02273305580654286},
		{"Q", logUpperGamma, 1e7, 10006324.555320337, 0.022767202690697648},
		{"P", logLowerGamma, 1e7, 9981026.33403899, 9.6439317960379636e-10},
		{"Q", logUpperGamma, 1e7, 10018973.66596101, 1.0092274811770583e-9},
	} {
		closeTo(t, c.name, math.Exp(c.tail(c.a, c.x).log), c.want, 1e-12)
	}
}

// The derivative is checked against x·(density)/(tail): in closed form for
// a = 1, where P = 1−e^−x and Q = e^−x.
func TestIncompleteGammaSlope(t *testing.T) {
	for _, x := range []float64{1e-9, 0.1, 1, 1.9, 2.1, 5, 40} {
		lower, upper := logLowerGamma(1, x), logUpperGamma(1, x)
		logP := math.Log(-math.Expm1(-x))
		if x > 1 {
			logP = math.Log1p(-math.Exp(-x))
		}
		closeTo(t, "P", lower.log, logP, 1e-12)
		closeTo(t, "P, slope", lower.slope, x/math.Expm1(x), 1e-12)
		closeTo(t, "Q", upper.log, -x, 1e-12)
		closeTo(t, "Q, slope", upper.slope, -x, 1e-12)
	}
}

// The chi-square quantiles are M. Abramowitz, I. A. Stegun, Handbook of
// Mathematical Functions (1964), Table 26.8, carried to 16 digits by mpmath
// 1.2.1 with 40-digit arithmetic, as are the others: a chi-square variable with
// k degrees of freedom is twice a gamma variable of shape k/2. In closed form,
// the quantiles of shape 1 are −ln(1−p) and −ln q.
func TestGammaQuantile(t *testing.T) {
	for _, c := range []struct {
		name            string
		got, want       float64
		published, unit float64
	}{
		{"chi-square(1) upper 0.05", 2 * gammaUpperQuantile(0.5, 0.05), 3.841458820694126, 3.84146, 1e-5},
		{"chi-square(10) upper 0.05", 2 * gammaUpperQuantile(5, 0.05), 18.30703805327515, 18.3070, 1e-4},
		{"chi-square(30) upper 0.001", 2 * gammaUpperQuantile(15, 0.001), 59.70306430442993, 59.703, 1e-3},
		{"chi-square(20) upper 0.975", 2 * gammaUpperQuantile(10, 0.975), 9.590777392264867, 9.59078, 1e-5},
		{"chi-square(2) lower 0.025", 2 * gammaQuantile(1, 0.025), 0.05063561596857975, 0, 0},
		{"chi-square(100000) upper 0.05", 2 * gammaUpperQuantile(50000, 0.05), 100736.736177319, 0, 0},
		{"shape 1 lower 0.025", gammaQuantile(1, 0.025), 0.02531780798428988, 0, 0},
		{"shape 10 lower 0.025", gammaQuantile(10, 0.025), 4.795388696132434, 4.795, 1e-3},
		{"shape 11 upper 0.025", gammaUpperQuantile(11, 0.025), 18.39035604201778, 18.390, 1e-3},
		{"shape 1 upper 1e-14", gammaUpperQuantile(1, 1e-14), 32.23619130191664, 0, 0},
		{"shape 1/2 lower 1e-10", gammaQuantile(0.5, 1e-10), 7.853981633974483e-21, 0, 0},
		{"shape 10000 lower 0.025", gammaQuantile(10000, 0.025), 9804.952467260183, 0, 0},
	} {
		closeTo(t, c.name, c.got, c.want, 1e-12)
		if c.unit > 0 {
			rounds(t, c.name, c.got, c.published, c.unit)
		}
	}
}

func TestGammaQuantileEnds(t *testing.T) {
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"q = 1", gammaUpperQuantile(3, 1), 0},
		{"p = 1", gammaQuantile(3, 1), math.Inf(1)},
		{"p = 0.75", gammaQuantile(1, 0.75), math.Log(4)},
		{"q = 0.75", gammaUpperQuantile(1, 0.75), -math.Log(0.75)},
		{"q = 1e-300", gammaUpperQuantile(1, 1e-300), 300 * math.Ln10},
		{"p = 1e-300", gammaQuantile(1, 1e-300), 1e-300},
		// (p·Γ(3/2))² would be of order 1e-600.
		{"below the range of float64", gammaQuantile(0.5, 1e-300), 0},
	} {
		if c.got != c.want {
			closeTo(t, c.name, c.got, c.want, 1e-12)
		}
	}
}

// M. Abramowitz, I. A. Stegun, Handbook of Mathematical Functions (1964), Table
// 26.5 and standard tables of the normal quantile, carried to 16 digits by
// mpmath 1.2.1 with 40-digit arithmetic.
func TestNormalUpperQuantile(t *testing.T) {
	closeTo(t, "0.025", normalUpperQuantile(0.025), 1.959963984540054, 1e-12)
	rounds(t, "0.025", normalUpperQuantile(0.025), 1.959963985, 1e-9)
	closeTo(t, "0.001", normalUpperQuantile(0.001), 3.090232306167814, 1e-12)
	rounds(t, "0.001", normalUpperQuantile(0.001), 3.090232306, 1e-9)
	closeTo(t, "1e-10", normalUpperQuantile(1e-10), 6.361340902404056, 1e-12)
	closeTo(t, "1e-300", normalUpperQuantile(1e-300), 37.0470962993612, 1e-10)
}

// From ln Γ of the same table (mpmath 1.2.1, 40 digits): ln Γ(171.5) and
// ln Γ(1e10) far past where the series takes over, ln Γ(3.1) before it. The
// Stirling part is subtracted in the test, which costs the digits that the
// tolerances allow for.
func TestStirlingError(t *testing.T) {
	for _, c := range []struct{ n, logGamma, absolute float64 }{
		{2.1, 0.7873750832738624, 1e-14},
		{170.5, 709.1431630309282, 1e-12},
		{1e10 - 1, 2.202585092888106e+11, 1e-3},
	} {
		want := c.logGamma - 0.5*math.Log(2*math.Pi*c.n) - c.n*math.Log(c.n) + c.n
		if got := stirlingError(c.n); math.Abs(got-want) > c.absolute {
			t.Errorf("stirlingError(%g) = %.17g, want %.17g", c.n, got, want)
		}
	}
	// ln n! for whole numbers on both sides of the change to the series.
	for _, n := range []float64{1, 2, 5, 10, 15, 16, 17, 20} {
		factorial := 1.0
		for k := 2.0; k <= n; k++ {
			factorial *= k
		}
		want := math.Log(factorial) - 0.5*math.Log(2*math.Pi*n) - n*math.Log(n) + n
		if got := stirlingError(n); math.Abs(got-want) > 2e-14 {
			t.Errorf("stirlingError(%g) = %.17g, want %.17g", n, got, want)
		}
	}
}

// Roots known in closed form; the ends, where rounding may leave no change of
// sign, are roots themselves.
func TestBracketedRoot(t *testing.T) {
	for _, c := range []struct {
		name            string
		f               func(float64) float64
		low, high, want float64
	}{
		{"√2", func(x float64) float64 { return x*x - 2 }, 0, 2, math.Sqrt2},
		{"ln 3", func(x float64) float64 { return math.Exp(x) - 3 }, -10, 30, math.Log(3)},
		{"a flat root", func(x float64) float64 { return math.Cbrt(x - 1) }, 0, 5, 1},
		{"a steep root", func(x float64) float64 { return math.Tanh(1e6 * (x - 0.1)) }, 0, 1, 0.1},
		{"a step", func(x float64) float64 { return math.Copysign(1, x-0.3) }, 0, 1, 0.3},
		{"no sign below", func(x float64) float64 { return x }, 1, 2, 1},
		{"no sign above", func(x float64) float64 { return x }, -2, -1, -1},
		{"zero in the middle", func(x float64) float64 { return x - 1 }, 0, 2, 1},
	} {
		closeTo(t, c.name, bracketedRoot(c.f, c.low, c.high), c.want, 1e-15)
	}
}
