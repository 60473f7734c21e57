package analysis_test

import (
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
	"jointledger/internal/stats"
)

var sparesToday = time.Date(2026, 5, 1, 15, 30, 0, 0, time.FixedZone("UTC+2", 7200))

func mustForecast(t *testing.T, in analysis.SparesInput, o analysis.SparesOptions) analysis.SparesAnswer {
	t.Helper()
	if o.AsOf.IsZero() {
		o.AsOf = sparesToday
	}
	a, err := analysis.Spares(in, o)
	if err != nil {
		t.Fatal(err)
	}
	standingOnlyFinite(t, reflect.ValueOf(a))
	return a
}

// Worked by hand. One group keeps to its own record: none lost of one, so
// Beta(½, 1½) under Jeffreys' prior. That the first k attempts at the one
// install that remains are all lost has the probability ½/2 · 1½/3 · 2½/4 …:
// 1/4, 1/8, 0.0781, 0.0547, 0.0410 for k = 1 to 5. Until it is done, on average
// ½/(1½−1) = 1 is lost.
func TestSparesWorkedByHand(t *testing.T) {
	for _, c := range []struct {
		onHand, order int64
		runOut        float64
	}{{0, 6, 1}, {1, 4, 1.0 / 4}, {2, 4, 1.0 / 8}, {3, 2, 5.0 / 64}, {4, 2, 35.0 / 640}, {5, 0, 315.0 / 7680}} {
		a := mustForecast(t, analysis.SparesInput{Lines: []analysis.SparesLine{
			{Fastener: "M10", Site: "N", Attempts: 1, Remaining: 1, OnHand: c.onHand, PackSize: 2},
		}}, analysis.SparesOptions{})
		i := a.Items[0]
		if *i.Losses != 4 || *i.Need != 5 || !near(i.MeanLosses, 1) || !near(i.RunOut, c.runOut) ||
			*i.Short != 5-c.onHand || *i.Order != c.order || !near(i.LossPer1000, 250) {
			t.Errorf("%d on hand: losses %d, need %d, mean %g, run out %g, order %d", c.onHand, *i.Losses, *i.Need, *i.MeanLosses, *i.RunOut, *i.Order)
		}
		if a.Shrinkage != stats.FewGroups {
			t.Errorf("shrinkage %v", a.Shrinkage)
		}
		standingWantCaution(t, a.Cautions, "Fewer than 3 groups")
	}
}

// With the loss rate as good as known, the losses of N installs are those of the
// reference on the trade, section N (60, 22, 4 and 25 of a binomial with N
// attempts), or one or two more, since replacements are lost too: the smallest L
// with P(Bin(N+L, p) ≤ L) at the level, by summation at 40 digits (mpmath).
func TestSparesWithAKnownRate(t *testing.T) {
	for _, c := range []struct {
		remaining int64
		per1000   int64
		level     float64
		losses    int64
		published int64
	}{{2400, 20, 0.95, 61, 60}, {500, 30, 0.95, 22, 22}, {64, 20, 0.99, 5, 4}, {1200, 15, 0.95, 26, 25}} {
		known := stats.FailureCount{Failures: c.per1000 * 1e6, Attempts: 1e9}
		a := mustForecast(t, analysis.SparesInput{
			Lines:  []analysis.SparesLine{{Fastener: "M10", Remaining: c.remaining, OnHand: c.remaining}},
			Others: []stats.FailureCount{known, known, known},
		}, analysis.SparesOptions{ServiceLevel: c.level})
		i := a.Items[0]
		if *i.Losses != c.losses || *i.Losses < c.published || *i.Losses > c.published+2 {
			t.Errorf("%d installs: %d losses; published, without lost replacements, %d", c.remaining, *i.Losses, c.published)
		}
		p := float64(c.per1000) / 1000
		if want := float64(c.remaining) * p / (1 - p); math.Abs(*i.MeanLosses-want) > 1e-5*want {
			t.Errorf("%d installs: mean %g, want %g", c.remaining, *i.MeanLosses, want)
		}
		standingWantCaution(t, a.Cautions, "no more than chance makes them")
		standingWantCaution(t, a.Cautions, "No rate of its own is on record for M10")
	}
}

// Worked by hand, with a rate as good as zero: the stock covers as many installs
// as it has pieces. 100 at 30 a day last 3 whole days; less the lead time.
func TestSparesDayToOrderBy(t *testing.T) {
	never := stats.FailureCount{Attempts: 1e12 / 4}
	for _, c := range []struct {
		perDay float64
		lead   int64
		day    string
		late   bool
	}{{30, 0, "2026-05-04", false}, {30, 3, "2026-05-01", false}, {30, 4, "2026-04-30", true}, {2.5, 10, "2026-05-31", false}, {0, 3, "", false}} {
		a := mustForecast(t, analysis.SparesInput{
			Lines:  []analysis.SparesLine{{Fastener: "M10", Remaining: 400, OnHand: 100, InstallsPerDay: c.perDay, LeadTimeDays: c.lead, PackSize: 250}},
			Others: []stats.FailureCount{never, never, never},
		}, analysis.SparesOptions{})
		i := a.Items[0]
		if *i.CoversInstalls != 100 || *i.Short != 300 || *i.Order != 500 || *i.RunOut != 1 {
			t.Errorf("covers %d, short %d, order %d", *i.CoversInstalls, *i.Short, *i.Order)
		}
		if c.day == "" {
			if i.OrderBy != nil || !strings.Contains(i.Sentence, "by when is not known") {
				t.Errorf("a day without a plan: %v, %s", i.OrderBy, i.Sentence)
			}
			continue
		}
		if i.OrderBy == nil || i.OrderBy.Format("2006-01-02") != c.day || i.Late != c.late || i.OrderBy.Location() != sparesToday.Location() {
			t.Errorf("%g a day, lead %d: %v, late %v; want %s", c.perDay, c.lead, i.OrderBy, i.Late, c.day)
		}
		if !strings.Contains(i.Sentence, c.day) {
			t.Errorf("%s is not in: %s", c.day, i.Sentence)
		}
	}
}

func sparesFleet() analysis.SparesInput {
	return analysis.SparesInput{
		Lines: []analysis.SparesLine{
			{Fastener: "A", Site: "N", Failures: 9, Attempts: 240, Remaining: 960, OnHand: 980, InstallsPerDay: 40, LeadTimeDays: 14, PackSize: 100},
			{Fastener: "A", Site: "S", Failures: 1, Attempts: 900, Remaining: 960, OnHand: 980, InstallsPerDay: 40, LeadTimeDays: 14, PackSize: 100},
			{Fastener: "B", Site: "N", Failures: 4, Attempts: 300, Remaining: 200, OnHand: 400, InstallsPerDay: 10, LeadTimeDays: 14},
			{Fastener: "C", Site: "N", Remaining: 100, OnHand: 90, InstallsPerDay: 10, LeadTimeDays: 2, PackSize: 25},
		},
		Others: []stats.FailureCount{{Failures: 30, Attempts: 800}, {Failures: 2, Attempts: 600}},
	}
}

// More stock never makes it likelier to run out; a higher level never needs
// less; more installs never need less; need is enough and one less is not.
func TestSparesAreMonotone(t *testing.T) {
	need, runOut := int64(0), 2.0
	for _, level := range []float64{0.5, 0.8, 0.9, 0.95, 0.99, 0.999} {
		i := mustForecast(t, sparesFleet(), analysis.SparesOptions{ServiceLevel: level}).Items
		k := slices.IndexFunc(i, func(i analysis.SparesItem) bool { return i.Line.Fastener == "A" && i.Line.Site == "N" })
		if *i[k].Need < need {
			t.Errorf("need falls to %d at %g", *i[k].Need, level)
		}
		need = *i[k].Need
		for less, enough := range map[int64]bool{0: true, 1: false} {
			in := sparesFleet()
			in.Lines[0].OnHand = need - less
			j := mustForecast(t, in, analysis.SparesOptions{ServiceLevel: level}).Items
			k := slices.IndexFunc(j, func(i analysis.SparesItem) bool { return i.Line.Fastener == "A" && i.Line.Site == "N" })
			if (*j[k].RunOut <= 1-level+1e-9) != enough || (*j[k].CoversInstalls == 960) != enough || (*j[k].Order == 0) != enough {
				t.Errorf("at %g with %d less than needed: run out %g, covers %d, order %d", level, less, *j[k].RunOut, *j[k].CoversInstalls, *j[k].Order)
			}
		}
	}
	need = 0
	for step := range int64(20) {
		in := sparesFleet()
		in.Lines = in.Lines[:1]
		in.Others = append(in.Others, stats.FailureCount{Failures: 1, Attempts: 900})
		in.Lines[0].OnHand, in.Lines[0].Remaining = 960+5*step, 960
		i := mustForecast(t, in, analysis.SparesOptions{}).Items[0]
		if *i.RunOut > runOut {
			t.Errorf("with %d on hand it runs out with %g, with less with %g", in.Lines[0].OnHand, *i.RunOut, runOut)
		}
		runOut = *i.RunOut
		in.Lines[0].Remaining = 100 * step
		if i = mustForecast(t, in, analysis.SparesOptions{}).Items[0]; *i.Need < need {
			t.Errorf("%d installs need %d, fewer need %d", 100*step, *i.Need, need)
		}
		need = *i.Need
	}
}

func TestSparesAreSortedByUrgency(t *testing.T) {
	in := sparesFleet()
	want := mustForecast(t, in, analysis.SparesOptions{})
	var order []string
	for _, i := range want.Items {
		order = append(order, i.Line.Fastener+i.Line.Site)
	}
	if diff := cmp.Diff([]string{"CN", "AN"}, order[:2]); diff != "" || order[3] != "BN" {
		t.Errorf("order %v", order)
	}
	if want.Shrinkage != stats.Fitted || want.Groups != 5 {
		t.Errorf("%v over %d groups", want.Shrinkage, want.Groups)
	}
	slices.Reverse(in.Lines)
	if diff := cmp.Diff(want.Items, mustForecast(t, in, analysis.SparesOptions{}).Items, cmp.Comparer(func(a, b float64) bool {
		return math.Abs(a-b) <= 1e-9*math.Max(math.Abs(a), 1e-6)
	})); diff != "" {
		t.Errorf("other order (-want +got):\n%s", diff)
	}
	for _, part := range []string{"burst", "washer", "common practice, no source"} {
		standingWantCaution(t, want.Cautions, part)
	}
}

func TestSparesOfOddInput(t *testing.T) {
	others := []stats.FailureCount{{Failures: 9, Attempts: 240}, {Failures: 1, Attempts: 900}, {Failures: 30, Attempts: 300}}
	for _, c := range []struct {
		name     string
		in       analysis.SparesInput
		sentence string
		caution  string
	}{
		{"nothing", analysis.SparesInput{}, "", "nothing to forecast"},
		{"no record", analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A", Remaining: 5, OnHand: 9}}}, "whether that allows for losses is not known", "there is no loss rate"},
		{"no record, short", analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A", Remaining: 5, OnHand: 2}}}, "5 remain to be installed and 2 are on hand", "there is no loss rate"},
		{"nothing remains", analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A", Attempts: 9}}}, "nothing remains", ""},
		{"all lost", analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A", Failures: 1e9, Attempts: 1e9, Remaining: 1 << 29, OnHand: 3}}}, "no stock can be named", ""},
		{"none lost", analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A", Attempts: 1000, Remaining: 5, OnHand: 5}}, Others: []stats.FailureCount{{Attempts: 5}, {Attempts: 7}}}, "no order needed", "pooled loss rate"},
		{"more lost than attempted", analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A", Failures: 5, Attempts: 2, Remaining: 5, OnHand: 9}}, Others: others}, "5 installs remain", "gives no rate and is not used"},
		{"unknown denominator", analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A", Failures: 5, Attempts: 5, DenominatorUnknown: true, Remaining: 5, OnHand: 9}}, Others: others}, "5 installs remain", "gives no rate and is not used"},
		{"negative stock", analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A", Remaining: 5, OnHand: -3, InstallsPerDay: 1}}, Others: others}, "against -3 on hand", "the stock on record is negative"},
		{"slow plan", analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A", Remaining: 50, OnHand: 30, InstallsPerDay: 1e-300}}, Others: others}, "order", ""},
		{"many", analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A", Remaining: 1e9, OnHand: 1e9, InstallsPerDay: 1e5, PackSize: 1 << 40}}, Others: others}, "order 1099511627776", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			a := mustForecast(t, c.in, analysis.SparesOptions{})
			standingWantCaution(t, a.Cautions, c.caution)
			for _, i := range a.Items {
				if !strings.Contains(i.Sentence, c.sentence) {
					t.Errorf("sentence: %s", i.Sentence)
				}
			}
			if a.Method == "" || a.Assumption == "" {
				t.Error("no method or assumption")
			}
		})
	}
}

func TestSparesRefuse(t *testing.T) {
	line := func(l analysis.SparesLine) analysis.SparesInput {
		l.Fastener, l.Site = "A", "N"
		return analysis.SparesInput{Lines: []analysis.SparesLine{l}}
	}
	twice := analysis.SparesInput{Lines: []analysis.SparesLine{{Fastener: "A"}, {Fastener: "A"}}}
	for _, c := range []struct {
		in       analysis.SparesInput
		level    float64
		argument string
	}{
		{analysis.SparesInput{}, 1, "service level"},
		{analysis.SparesInput{}, math.NaN(), "service level"},
		{line(analysis.SparesLine{Failures: -1}), 0, "failures of A at N"},
		{line(analysis.SparesLine{Attempts: -1}), 0, "attempts of A at N"},
		{line(analysis.SparesLine{Remaining: -1}), 0, "remaining installs of A at N"},
		{line(analysis.SparesLine{LeadTimeDays: -1}), 0, "lead time in days of A at N"},
		{line(analysis.SparesLine{PackSize: -1}), 0, "pack size of A at N"},
		{line(analysis.SparesLine{InstallsPerDay: math.NaN()}), 0, "installs a day of A at N"},
		{twice, 0, "line"},
		{analysis.SparesInput{Others: []stats.FailureCount{{Failures: 3, Attempts: 2}}}, 0, "failures of other group 1"},
	} {
		_, err := analysis.Spares(c.in, analysis.SparesOptions{ServiceLevel: c.level, AsOf: sparesToday})
		var argument *stats.ArgumentError
		if !errors.As(err, &argument) || argument.Argument != c.argument {
			t.Errorf("%v; want an error about %s", err, c.argument)
		}
	}
}

// Where all that was tried was lost, Jeffreys' posterior has no mean of the losses
// (α/(β−1) with β = ½), and its upper tail would have millions ordered: no number
// is named.
func TestSparesNameNoStockWhenAllWasLost(t *testing.T) {
	a := mustForecast(t, analysis.SparesInput{Lines: []analysis.SparesLine{
		{Fastener: "M8", Failures: 5, Attempts: 5, Remaining: 100, OnHand: 100},
	}}, analysis.SparesOptions{})
	i := a.Items[0]
	if i.Need != nil || i.Order != nil || i.Losses != nil || !strings.Contains(i.Sentence, "find the cause before ordering") {
		t.Errorf("%+v, %q", i, i.Sentence)
	}
}
