package forecast

import (
	"errors"
	"fmt"
	"math"
	"time"

	"gonum.org/v1/gonum/mathext"
)

// Question is what is known of work that is going on.
type Question struct {
	// Days are what was finished on each day; days that are not in it had nothing.
	Days []Day
	// Remaining is how much is left on the day AsOf.
	Remaining int64
	// First is the first day that counts for the rate; zero for the first of Days.
	First time.Time
	// AsOf is the day of the question. It is not over yet: days before it count
	// for the rate, and it is the first on which the rest may be finished.
	AsOf time.Time
	// Confidence is that of the prediction interval, above 0.5 and below 1.
	Confidence float64
}

// Finish is when the work will be finished.
type Finish struct {
	// Earliest and Latest are the ends of the prediction interval, Expected is its
	// median; zero for a day more than Horizon working days ahead.
	Earliest, Expected, Latest time.Time
	// Rate is what is finished on a working day, the mean over WorkingDays days.
	Rate        float64
	WorkingDays int
	// Dispersion is the variance of the daily numbers over their mean, at least 1:
	// how much more unevenly it goes than by chance alone.
	Dispersion float64
	Week       Week
	First      time.Time
	// Idle is how many working days at the end of the time looked at had nothing.
	// From Stopped on they are no part of the rate: the work has stopped, and the
	// finish is that of work taken up again as it was.
	Idle int
}

// Stopped is how many working days without anything finished say that the work has
// stopped, rather than that it goes slowly: two weeks, a choice of this project.
const Stopped = 10

// Horizon is how many working days ahead a finish is looked for: about ten years.
const Horizon = 2600

// ErrTooEarly says that no rate can be told yet.
var ErrTooEarly = errors.New("no rate can be told yet: expected at least two working days that are over, and something finished on them")

// Method says how Predict predicts, and where that is from.
const Method = "Gamma-Poisson prediction from the daily numbers with Jeffreys' prior: the number finished in m more working days " +
	"is negative binomial with size S + 1/2 and probability n/(n+m), S being finished in n working days " +
	"(Hahn and Meeker, Statistical Intervals, 1991, ch. 7 on the problem); both S and what remains are divided by the dispersion, " +
	"the variance of the daily numbers over their mean, at least 1 (quasi-likelihood: McCullagh and Nelder, " +
	"Generalized Linear Models, 2nd ed. 1989, ch. 9)"

// Predict says when the remaining work will be finished if it goes on as it did.
//
// The number finished in m more working days has a negative binomial distribution
// with size S + 1/2 and probability n/(n+m), where S were finished in n days: the
// predictive distribution of a Poisson count under Jeffreys' prior (G. J. Hahn,
// W. Q. Meeker, Statistical Intervals, 1991, ch. 7 on the problem). It is finished
// within m days with the probability that this number reaches what remains, a
// regularised incomplete beta function in closed form (M. Abramowitz,
// I. A. Stegun, Handbook of Mathematical Functions, 1964, section 26.5). Daily numbers scatter more than Poisson counts do, since crews come
// and go; so S and the remainder are divided by their dispersion, the
// quasi-likelihood scaling of P. McCullagh, J. A. Nelder, Generalized Linear
// Models, 2nd ed. 1989, ch. 9.
//
// It gives ErrTooEarly when there is no rate yet, and another error for a question
// that makes no sense.
func Predict(q Question) (Finish, error) {
	if !(q.Confidence > 0.5 && q.Confidence < 1) {
		return Finish{}, fmt.Errorf("expected a confidence above 0.5 and below 1, got %v", q.Confidence)
	}
	if q.Remaining < 1 {
		return Finish{}, fmt.Errorf("expected at least 1 that remains, got %d", q.Remaining)
	}
	asOf := on(q.AsOf)
	done := map[time.Time]int64{}
	first := asOf
	for _, d := range q.Days {
		day := on(d.Date)
		done[day] += d.Done
		if day.Before(first) && d.Done > 0 {
			first = day
		}
	}
	if !q.First.IsZero() {
		first = on(q.First)
	}
	f := Finish{Week: weekOf(done, first, asOf), First: first}
	counts := f.Week.counts(done, first, asOf)
	total := int64(0)
	for i, c := range counts {
		total += c
		if c > 0 {
			f.Idle = len(counts) - 1 - i
		}
	}
	if f.Idle >= Stopped {
		counts = counts[:len(counts)-f.Idle]
	}
	f.WorkingDays = len(counts)
	if len(counts) < 2 || total == 0 {
		return Finish{}, ErrTooEarly
	}
	f.Rate = float64(total) / float64(len(counts))
	f.Dispersion = dispersion(counts, f.Rate)
	within := func(m int) float64 {
		return finishedWithin(float64(q.Remaining), float64(total), float64(len(counts)), float64(m), f.Dispersion)
	}
	tail := (1 - q.Confidence) / 2
	f.Earliest = f.day(asOf, within, tail)
	f.Expected = f.day(asOf, within, 0.5)
	f.Latest = f.day(asOf, within, 1-tail)
	return f, nil
}

// dispersion is the sample variance of the counts over their mean, at least 1.
func dispersion(counts []int64, mean float64) float64 {
	squares := 0.0
	for _, c := range counts {
		squares += (float64(c) - mean) * (float64(c) - mean)
	}
	return math.Max(1, squares/float64(len(counts)-1)/mean)
}

// finishedWithin is the probability that at least so many as remain are finished in
// m more days, where done were finished in n: P(Y >= k) of a negative binomial Y
// with size r and probability n/(n+m) is the regularised incomplete beta function
// of k, r at m/(n+m).
//
// A dispersion of d stands for work that is finished d at a time (a compound
// Poisson process with bunches of d); what remains takes at least one bunch.
func finishedWithin(remaining, done, n, m, dispersion float64) float64 {
	return mathext.RegIncBeta(math.Max(1, remaining/dispersion), done/dispersion+0.5, m/(n+m))
}

// day is the first working day by which the work is finished with the probability;
// zero when there is none before the horizon.
func (f *Finish) day(asOf time.Time, within func(int) float64, probability float64) time.Time {
	if within(Horizon) < probability {
		return time.Time{}
	}
	low, high := 0, Horizon // within(low) is below the probability, within(high) is not
	for high-low > 1 {
		if middle := (low + high) / 2; within(middle) < probability {
			low = middle
		} else {
			high = middle
		}
	}
	return f.Week.ahead(asOf, high)
}
