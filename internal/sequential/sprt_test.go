package sequential

import (
	"fmt"
	"math"
	"testing"
)

// NIST/SEMATECH e-Handbook, section 6.2.6, and A. Wald, Sequential Analysis
// (1947), as in the reference statistics, P27.
func TestSequentialTest(t *testing.T) {
	w, err := NewTest(Bernoulli, 0.01, 0.10, 0.05, 0.10)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "h1", w.AcceptIntercept, 0.938861602567, 1e-11)
	near(t, "h2", w.RejectIntercept, 1.2053786463, 1e-10)
	near(t, "s", w.Slope, 0.0397474322109, 1e-11)
	for _, c := range []struct{ rate, accepts, average float64 }{
		{0.01, 0.95, 27.9570211045}, {0.10, 0.10, 16.4466786691}, {w.Slope, 0.562147197329, 29.6503972772},
		{0.00175, 0.996947674419, 24.5363075596}, {0.0210689484, 0.827584725303, 30.471522036},
		{0.0666258648486, 0.26850394049, 23.4255359533}, {0.175, 0.0110465116279, 8.73693040195},
	} {
		accepts, err := w.Accepts(c.rate)
		if err != nil {
			t.Fatal(err)
		}
		average, err := w.AverageExposure(c.rate)
		if err != nil {
			t.Fatal(err)
		}
		// The rates of the table are printed to 9 or 12 digits.
		near(t, fmt.Sprintf("OC at %v", c.rate), accepts, c.accepts, 1e-7)
		near(t, fmt.Sprintf("ASN at %v", c.rate), average, c.average, 1e-7)
	}
	for _, c := range []struct {
		failures, attempts int64
		want               Verdict
	}{{0, 23, Continue}, {0, 24, Accept}, {1, 1, Continue}, {2, 2, Reject}, {1, 30, Continue}} {
		if got, err := w.Decide(c.failures, float64(c.attempts)); err != nil || got != c.want {
			t.Errorf("%d of %d: %v (%v), expected %v", c.failures, c.attempts, got, err, c.want)
		}
	}
}

// Wald's identity fixes the curve at five points whatever the model: 1 − α at the
// lower rate, β at the higher, a/(a+b) at the slope, 1 and 0 at the ends.
func TestSequentialTestOfPoisson(t *testing.T) {
	w, err := NewTest(Poisson, 0.5, 1.5, 0.05, 0.10)
	if err != nil {
		t.Fatal(err)
	}
	// h1 and h2 are ln(0.95/0.10)/ln 3 and ln(0.90/0.05)/ln 3; s is 1/ln 3.
	near(t, "h1", w.AcceptIntercept, math.Log(9.5)/math.Log(3), 1e-14)
	near(t, "h2", w.RejectIntercept, math.Log(18)/math.Log(3), 1e-14)
	near(t, "s", w.Slope, 1/math.Log(3), 1e-14)
	last := 1.0
	for _, c := range []struct{ rate, accepts float64 }{
		{1e-9, 1}, {0.5, 0.95}, {w.Slope, math.Log(18) / math.Log(18*9.5)}, {1.5, 0.10}, {1000, 0},
	} {
		got, err := w.Accepts(c.rate)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got-c.accepts) > 1e-9 || got > last {
			t.Errorf("OC at %v: %v, expected %v", c.rate, got, c.accepts)
		}
		last = got
		average, err := w.AverageExposure(c.rate)
		if err != nil || !(average > 0) || math.IsInf(average, 0) {
			t.Errorf("average exposure at %v: %v (%v)", c.rate, average, err)
		}
	}
	// Continuous across the slope, where the formula is 0/0.
	at, _ := w.AverageExposure(w.Slope)
	beside, _ := w.AverageExposure(w.Slope * 1.0001)
	near(t, "beside the slope", beside, at, 1e-3)
	for v, name := range map[Verdict]string{Continue: "continue", Accept: "accept", Reject: "reject", 9: "Verdict(9)"} {
		if v.String() != name {
			t.Errorf("%v is not %s", v, name)
		}
	}
}
