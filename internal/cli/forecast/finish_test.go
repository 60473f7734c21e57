package forecast

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

func day(text string) time.Time {
	d, err := time.Parse(time.DateOnly, text)
	if err != nil {
		panic(err)
	}
	return d
}

// The predictive negative binomial of 24 events in 5 days, for 1 more day: values of
// R 4.2.2, pnbinom and dnbinom with size 24.5 and prob 5/6 (the shutdown example of
// G. J. Hahn, W. Q. Meeker, Statistical Intervals, 1991, ch. 7; numbers computed,
// the published limits were not seen).
func TestFinishedWithinIsTheNegativeBinomial(t *testing.T) {
	const p0, p5, cdf9 = 0.0114831085922, 0.159680420071, 0.958228209921
	within := func(k, dispersion float64) float64 {
		return finishedWithin(k*dispersion, 24*dispersion, 5, 1, dispersion)
	}
	// With a dispersion of d, d times the counts have the probabilities of the
	// counts: that is what the scaling says.
	for _, dispersion := range []float64{1, 3} {
		for _, c := range []struct{ name, got, want any }{
			{"P(Y >= 1)", within(1, dispersion), 1 - p0},
			{"P(Y >= 10)", within(10, dispersion), 1 - cdf9},
			{"P(Y = 5)", within(5, dispersion) - within(6, dispersion), p5},
		} {
			if got, want := c.got.(float64), c.want.(float64); math.Abs(got-want) > 1e-10*want {
				t.Errorf("dispersion %v, %s = %.12g, want %.12g", dispersion, c.name, got, want)
			}
		}
	}
	// The quantiles at 2.5 % and 97.5 %, qnbinom in the same source: 1 and 10; of 12
	// in 12 days for 6 more, 1 and 13.
	for _, c := range []struct{ x, n, m, low, high float64 }{{24, 5, 1, 1, 10}, {12, 12, 6, 1, 13}} {
		cdf := func(y float64) float64 { return 1 - finishedWithin(y+1, c.x, c.n, c.m, 1) }
		if !(cdf(c.low) >= 0.025 && cdf(c.low-1) < 0.025 && cdf(c.high) >= 0.975 && cdf(c.high-1) < 0.975) {
			t.Errorf("%v: quantiles are not %v and %v", c, c.low, c.high)
		}
	}
}

// Variance over mean of 2, 4, 4, 4, 5, 5, 7, 9: mean 5, squares 32 (a textbook
// example, by hand), so 32/7/5; even numbers are taken as scattering like chance.
func TestDispersion(t *testing.T) {
	counts := []int64{2, 4, 4, 4, 5, 5, 7, 9}
	if got := dispersion(counts, 5); got != 1 {
		t.Errorf("got %v, want 1 for %v", got, 32.0/7/5)
	}
	spread := []int64{0, 20, 0, 20}
	// Mean 10, squares 400, over 3: 133.3; over the mean: 13.33.
	if got := dispersion(spread, 10); math.Abs(got-400.0/30) > 1e-12 {
		t.Errorf("got %v, want %v", got, 400.0/30)
	}
}

// Working days by the calendar: 2 March 2026 is a Monday (cal 3 2026).
func TestWeek(t *testing.T) {
	done := map[time.Time]int64{}
	for _, d := range []string{"2026-03-02", "2026-03-07", "2026-03-14", "2026-03-15"} {
		done[day(d)] = 3
	}
	week := weekOf(done, day("2026-03-02"), day("2026-03-30"))
	// Saturdays 7, 14, 21, 28: two of four were worked; Sundays 8, 15, 22, 29: one.
	if want := (Week{false, true, true, true, true, true, true}); week != want {
		t.Fatalf("got %v, want %v", week, want)
	}
	counts := week.counts(done, day("2026-03-02"), day("2026-03-16"))
	// Two weeks of six days; Sunday the 15th counts with Saturday the 14th.
	want := []int64{3, 0, 0, 0, 0, 3, 0, 0, 0, 0, 0, 6}
	if len(counts) != len(want) {
		t.Fatalf("got %v, want %v", counts, want)
	}
	for i := range want {
		if counts[i] != want[i] {
			t.Errorf("got %v, want %v", counts, want)
		}
	}
	// A Sunday before the first working day counts with it.
	if got := week.counts(map[time.Time]int64{day("2026-03-01"): 2, day("2026-03-02"): 1}, day("2026-03-01"), day("2026-03-03")); len(got) != 1 || got[0] != 3 {
		t.Errorf("a Sunday first: %v", got)
	}
	plain := Week{false, true, true, true, true, true, false}
	for n, want := range map[int]string{1: "2026-03-06", 2: "2026-03-09", 6: "2026-03-13", 7: "2026-03-16"} {
		if got := plain.ahead(day("2026-03-06"), n); !got.Equal(day(want)) {
			t.Errorf("working day %d from a Friday: %s, want %s", n, got.Format(time.DateOnly), want)
		}
	}
	if got := plain.ahead(day("2026-03-07"), 1); !got.Equal(day("2026-03-09")) {
		t.Errorf("first working day from a Saturday: %s", got.Format(time.DateOnly))
	}
}

func TestPredict(t *testing.T) {
	// Four weeks of 10 a day from Monday 2 to Friday 27 March; 50 are left.
	q := Question{Remaining: 50, AsOf: day("2026-03-30"), Confidence: 0.9}
	for d := day("2026-03-02"); d.Before(q.AsOf); d = d.AddDate(0, 0, 1) {
		if w := d.Weekday(); w != time.Saturday && w != time.Sunday {
			q.Days = append(q.Days, Day{d, 10})
		}
	}
	f, err := Predict(q)
	if err != nil {
		t.Fatal(err)
	}
	if f.Rate != 10 || f.WorkingDays != 20 || f.Dispersion != 1 || f.Idle != 0 || !f.First.Equal(day("2026-03-02")) {
		t.Errorf("%+v", f)
	}
	// 50 at 10 a day take a week: Friday 3 April, and the interval lies around it.
	if !f.Expected.Equal(day("2026-04-03")) || !f.Earliest.Before(f.Expected) || !f.Latest.After(f.Expected) || f.Latest.After(day("2026-04-08")) {
		t.Errorf("%s, %s, %s", f.Earliest, f.Expected, f.Latest)
	}
	// The surer, the wider.
	q.Confidence = 0.99
	wide, err := Predict(q)
	if err != nil || wide.Earliest.After(f.Earliest) || !wide.Latest.After(f.Latest) || !wide.Expected.Equal(f.Expected) {
		t.Errorf("%v: %+v", err, wide)
	}
	// A day off in the middle of the week lowers the rate.
	q.First = day("2026-03-02")
	q.Days = q.Days[:15]
	slow, err := Predict(q)
	if err != nil || slow.Rate != 7.5 || slow.Idle != 5 {
		t.Errorf("%v: %+v", err, slow)
	}
	// From the last week on there was nothing.
	q.First = day("2026-03-23")
	if _, err := Predict(q); !errors.Is(err, ErrTooEarly) {
		t.Errorf("got %v", err)
	}
	// Ten thousand at 10 a day take a thousand working days; a million, more than the
	// horizon.
	q.First, q.Remaining = time.Time{}, 1_000_000
	if far, err := Predict(q); err != nil || !far.Expected.IsZero() || !far.Latest.IsZero() {
		t.Errorf("%v: %+v", err, far)
	}
}

// Two weeks without anything finished are a stop, not a slow rate: the rate is that
// of the days before, and the finish that of work taken up again on the day.
func TestPredictAfterAStop(t *testing.T) {
	q := Question{Remaining: 20, Confidence: 0.9}
	for n := range 5 {
		q.Days = append(q.Days, Day{day("2026-03-02").AddDate(0, 0, n), 10})
	}
	q.AsOf = day("2026-03-20") // nine working days later
	slow, err := Predict(q)
	if err != nil || slow.Idle != 9 || slow.WorkingDays != 14 {
		t.Errorf("%v: %+v", err, slow)
	}
	q.AsOf = day("2026-06-01")
	f, err := Predict(q)
	// 20 at 10 a day take two days: Monday 1 and Tuesday 2 June.
	if err != nil || f.Idle != 60 || f.WorkingDays != 5 || f.Rate != 10 || !f.Expected.Equal(day("2026-06-02")) || f.Earliest.Before(q.AsOf) {
		t.Errorf("%v: %+v", err, f)
	}
}

// When things are finished in bunches, the last few take a bunch too: 1 - (n/(n+m))
// to the power of what was done and a half, both in bunches.
func TestTheLastFewTakeABunch(t *testing.T) {
	if got, want := finishedWithin(5, 30, 20, 4, 30), 1-math.Pow(20.0/24, 1.5); math.Abs(got-want) > 1e-12 {
		t.Errorf("got %v, want %v", got, want)
	}
}

// Joints that are finished on the day itself are no longer left, but that day is
// not over and is no part of the rate.
func TestPredictLeavesTodayOut(t *testing.T) {
	days := []Day{{day("2026-03-02"), 4}, {day("2026-03-03"), 4}, {day("2026-03-04"), 1}}
	f, err := Predict(Question{Days: days, Remaining: 4, AsOf: day("2026-03-04"), Confidence: 0.9})
	if err != nil || f.Rate != 4 || f.WorkingDays != 2 || f.Earliest.Before(day("2026-03-04")) {
		t.Errorf("%v: %+v", err, f)
	}
}

func TestPredictRefuses(t *testing.T) {
	days := []Day{{day("2026-03-02"), 4}, {day("2026-03-03"), 4}}
	for name, q := range map[string]Question{
		"expected a confidence": {Days: days, Remaining: 4, AsOf: day("2026-03-06"), Confidence: 1},
		"got NaN":               {Days: days, Remaining: 4, AsOf: day("2026-03-06"), Confidence: math.NaN()},
		"at least 1":            {Days: days, AsOf: day("2026-03-06"), Confidence: 0.9},
		"no rate":               {Days: days, Remaining: 4, AsOf: day("2026-03-03"), Confidence: 0.9},
		"no rate can":           {Remaining: 4, AsOf: day("2026-03-03"), Confidence: 0.9},
	} {
		if _, err := Predict(q); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: got %v", name, err)
		}
	}
}

// An interval of 90 % holds the finish in about nine of ten simulated jobs: with
// Poisson days, and with days that scatter four times as much.
func TestPredictCovers(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	poisson := func(mean float64) int64 { // Knuth's method
		n, product := int64(0), random.Float64()
		for limit := math.Exp(-mean); product > limit; n++ {
			product *= random.Float64()
		}
		return n
	}
	for name, draw := range map[string]func() int64{
		"even days":    func() int64 { return poisson(6) },
		"in fours":     func() int64 { return 4 * poisson(1.5) },
		"now and then": func() int64 { return poisson(12) * int64(random.IntN(2)) },
	} {
		const jobs = 2000
		inside := 0
		for range jobs {
			q := Question{Remaining: 120, AsOf: day("2026-03-30"), Confidence: 0.9, First: day("2026-03-02")}
			week := Week{false, true, true, true, true, true, false}
			for n := 1; n <= 20; n++ {
				q.Days = append(q.Days, Day{week.ahead(day("2026-03-02"), n), draw()})
			}
			f, err := Predict(q)
			if err != nil {
				t.Fatal(err)
			}
			left, m := q.Remaining, 0
			for left > 0 {
				m++
				left -= draw()
			}
			if end := week.ahead(q.AsOf, m); !end.Before(f.Earliest) && !end.After(f.Latest) {
				inside++
			}
		}
		if share := float64(inside) / jobs; share < 0.87 || share > 0.97 {
			t.Errorf("%s: %.3f of the intervals hold the finish", name, share)
		}
	}
}
