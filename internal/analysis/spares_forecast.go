package analysis

import (
	"math"
	"time"

	"jointledger/internal/stats"
)

const (
	// sparesMostInstalls keeps the sum of installs and losses countable.
	sparesMostInstalls = stats.MaxCount / 1024
	// sparesMostDays is some hundred years, within what a calendar can add.
	sparesMostDays = 36500
)

// forecast sets the item's figures from what is believed of its loss rate.
//
// All of them rest on one fact: a stock of S finishes N installs exactly when at
// most S−N of its S attempts are lost, whatever the order, lost replacements
// included. The losses in S attempts are beta-binomial.
func (i *SparesItem) forecast(loss stats.BetaPosterior, o SparesOptions) error {
	limits, err := loss.Interval(sparesConfidence)
	if err != nil {
		return err
	}
	mean, lower, upper := 1000*loss.Mean(), 1000*limits.Lower, 1000*limits.Upper
	i.LossPer1000, i.LossLowerPer1000, i.LossUpperPer1000 = &mean, &lower, &upper
	n := i.Line.Remaining
	// Until one is installed p/(1−p) are lost; its mean is alpha/(beta−1).
	if losses := float64(n) * loss.Alpha / (loss.Beta - 1); loss.Beta > 1 {
		i.MeanLosses = &losses
	}
	runOut, err := sparesRunOut(loss, i.Line.OnHand, n)
	if err != nil {
		return err
	}
	i.RunOut = &runOut
	if err := i.need(loss, o); err != nil {
		return err
	}
	if err := i.covers(loss, o); err != nil {
		return err
	}
	i.orderBy(o)
	return nil
}

// sparesRunOut is the probability that a stock does not finish n installs.
func sparesRunOut(loss stats.BetaPosterior, stock, n int64) (float64, error) {
	switch {
	case n == 0:
		return 0, nil
	case stock < n:
		return 1, nil
	}
	d, err := stats.PredictBetaBinomial(loss.Alpha, loss.Beta, stock)
	if err != nil {
		return 0, err
	}
	return d.MoreThan(stock - n), nil
}

// sparesSlack is how far, relative, a probability may miss the service level and
// still reach it, so that rounding does not order one more.
const sparesSlack = 1e-9

// need finds the smallest stock that finishes the installs at the service level.
// There is none to be named where the losses have no mean: next to nothing went
// well, and what a quantile gives then is the tail of the prior, millions for a
// handful of installs.
func (i *SparesItem) need(loss stats.BetaPosterior, o SparesOptions) error {
	n := i.Line.Remaining
	if n > 0 && loss.Beta <= 1 {
		return nil
	}
	suffices := func(losses int64) (bool, error) {
		p, err := sparesRunOut(loss, n+losses, n)
		return p <= (1-o.ServiceLevel)*(1+sparesSlack), err
	}
	low, high := int64(-1), int64(0)
	for {
		enough, err := suffices(high)
		if err != nil {
			return err
		}
		if enough {
			break
		}
		if low, high = high, 2*high+1; n+high > stats.MaxCount {
			return nil
		}
	}
	for high-low > 1 {
		middle := low + (high-low)/2
		enough, err := suffices(middle)
		if err != nil {
			return err
		}
		if enough {
			high = middle
		} else {
			low = middle
		}
	}
	need := n + high
	short := max(0, need-i.Line.OnHand)
	// Whole packs, without the overflow of rounding up by addition.
	packs := short / i.Line.PackSize
	if short%i.Line.PackSize > 0 {
		packs++
	}
	order := packs * i.Line.PackSize
	i.Losses, i.Need, i.Short, i.Order = &high, &need, &short, &order
	return nil
}

// covers finds how many installs the stock finishes at the service level: what
// is left of it after the losses in as many attempts as there are pieces.
func (i *SparesItem) covers(loss stats.BetaPosterior, o SparesOptions) error {
	var covered int64
	if stock := i.Line.OnHand; stock > 0 {
		d, err := stats.PredictBetaBinomial(loss.Alpha, loss.Beta, stock)
		if err != nil {
			return err
		}
		lost, err := d.Quantile(o.ServiceLevel)
		if err != nil {
			return err
		}
		covered = stock - lost
	}
	covered = min(covered, i.Line.Remaining)
	i.CoversInstalls = &covered
	return nil
}

// orderBy finds the last day to order on: the installs that the stock covers
// last for so many whole days of the plan, less the lead time.
func (i *SparesItem) orderBy(o SparesOptions) {
	wanting := i.Short == nil || *i.Short > 0
	if !wanting || i.Line.InstallsPerDay == 0 || i.Line.Remaining == 0 {
		return
	}
	days := math.Floor(float64(*i.CoversInstalls) / i.Line.InstallsPerDay)
	if days > sparesMostDays {
		return
	}
	y, m, d := o.AsOf.Date()
	today := time.Date(y, m, d, 0, 0, 0, 0, o.AsOf.Location())
	day := today.AddDate(0, 0, int(days)-int(i.Line.LeadTimeDays))
	i.OrderBy, i.Late = &day, day.Before(today)
}
