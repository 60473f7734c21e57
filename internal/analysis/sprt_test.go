package analysis_test

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"jointledger/internal/analysis"
	"jointledger/internal/sequential"
	"jointledger/internal/stats"
)

// The lines, the earliest verdicts and the average sample numbers of NIST/SEMATECH,
// e-Handbook of Statistical Methods, section 6.2.6, and A. Wald, Sequential Analysis
// (1947), as in the reference statistics, P27.
func TestSPRTGivesThePublishedPlan(t *testing.T) {
	o := analysis.SPRTOptions{InControl: 0.01, OutOfControl: 0.10}
	good := trendRowsOf(1, make([]int64, 30)...)
	a, err := analysis.SPRT(good, o)
	if err != nil {
		t.Fatal(err)
	}
	trendIsFinite(t, reflect.ValueOf(a))
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"h1", a.Test.AcceptIntercept, 0.938861602567}, {"h2", a.Test.RejectIntercept, 1.2053786463}, {"s", a.Test.Slope, 0.0397474322109},
		{"asn.p1", a.ExposureInControl, 27.9570211045}, {"asn.p2", a.ExposureOutOfControl, 16.4466786691},
	} {
		if math.Abs(c.got-c.want) > 1e-9*c.want {
			t.Errorf("%s is %.12g, want %.12g", c.what, c.got, c.want)
		}
	}
	if a.Verdict != sequential.Accept || len(a.Steps) != 24 || a.Unused != 6 {
		t.Errorf("%v after %d, %d unused; want to accept after 24", a.Verdict, len(a.Steps), a.Unused)
	}
	bad, err := analysis.SPRT(trendRowsOf(1, 1, 1, 1), o)
	if err != nil {
		t.Fatal(err)
	}
	if bad.Verdict != sequential.Reject || len(bad.Steps) != 2 || !strings.HasPrefix(bad.Headline, "Refused at ") {
		t.Errorf("%v after %d: %s", bad.Verdict, len(bad.Steps), bad.Headline)
	}
}

func TestSPRTOfLittle(t *testing.T) {
	a, err := analysis.SPRT(nil, analysis.SPRTOptions{InControl: 0.01, OutOfControl: 0.1})
	if err != nil || a.Headline != "No rows: nothing to decide on yet." {
		t.Errorf("%v: %s", err, a.Headline)
	}
	a, err = analysis.SPRT([]analysis.TrendRow{{Label: "mon"}, {Label: "tue", Failures: 1, Exposure: 2}},
		analysis.SPRTOptions{PerExposure: true, ExposureUnit: "day", InControl: 0.1, OutOfControl: 0.4})
	if err != nil {
		t.Fatal(err)
	}
	trendIsFinite(t, reflect.ValueOf(a))
	if a.Verdict != sequential.Continue || !strings.Contains(a.Headline, "after 1 event in 2 days") || !strings.Contains(fmt.Sprint(a.Cautions), "for mon") {
		t.Errorf("%s %q", a.Headline, a.Cautions)
	}
}

func TestSPRTRefuses(t *testing.T) {
	rows := trendRowsOf(10, 1, 2)
	for _, c := range []struct {
		o    analysis.SPRTOptions
		rows []analysis.TrendRow
		want string
	}{
		{analysis.SPRTOptions{OutOfControl: 0.1}, rows, "in-control rate"},
		{analysis.SPRTOptions{InControl: 0.1, OutOfControl: 0.1}, rows, "out-of-control rate"},
		{analysis.SPRTOptions{InControl: 0.1, OutOfControl: 0.2, Alpha: 1}, rows, "alpha"},
		{analysis.SPRTOptions{InControl: 0.1, OutOfControl: 0.2, Beta: 0.95}, rows, "beta"},
		{analysis.SPRTOptions{InControl: 0.1, OutOfControl: 0.2}, []analysis.TrendRow{{Label: "a", Failures: 3, Attempts: 2}}, "failures of a"},
	} {
		_, err := analysis.SPRT(c.rows, c.o)
		var bad *stats.ArgumentError
		if !errors.As(err, &bad) || !strings.Contains(bad.Argument, c.want) {
			t.Errorf("%+v: %v", c.o, err)
		}
	}
}
