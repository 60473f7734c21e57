package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"jointledger/internal/stats"
)

// SparesInput is what is on record and planned.
type SparesInput struct {
	// Lines are asked about; each has another fastener or site.
	Lines []SparesLine
	// Others are further groups whose record helps to estimate the rates of the
	// lines, such as the same fasteners at sites where none remains to be
	// installed.
	Others []stats.FailureCount
}

// SparesLine is one fastener (a lot, or a specification or description) at one
// site.
type SparesLine struct {
	Fastener, Site string
	// Failures and Attempts are of this fastener at this site, up to now.
	// DenominatorUnknown is set when no tightening stands beside the failures;
	// the line's own record is then not used.
	Failures, Attempts int64
	DenominatorUnknown bool
	// Remaining is how many have still to be installed well.
	Remaining int64
	// OnHand is what is fit for use at the site; negative when more was used than
	// received.
	OnHand int64
	// InstallsPerDay is the planned mean number per calendar day; 0 when not
	// known, which leaves out the date to order by.
	InstallsPerDay float64
	// LeadTimeDays is from order to delivery, in calendar days.
	LeadTimeDays int64
	// PackSize is the number in a pack; 1 when 0.
	PackSize int64
}

// SparesOptions says how surely the hardware must last.
type SparesOptions struct {
	// ServiceLevel is the probability that it does, strictly between 0 and 1;
	// 0.95 when 0.
	ServiceLevel float64
	// AsOf is the day looked from; dates are reckoned in its location.
	AsOf time.Time
}

// SparesAnswer says whether the spare hardware will last.
type SparesAnswer struct {
	// Items are sorted by urgency: those to be ordered first, by date, then by
	// the probability of running out.
	Items []SparesItem
	// Groups is how many groups with attempts the rates rest on; Prior what they
	// were drawn towards, zero where Shrinkage says that none could be fitted.
	Groups       int
	Prior        stats.BetaPosterior
	Shrinkage    stats.Fallback
	ServiceLevel float64
	Method       string
	Assumption   string
	Cautions     []string
}

// SparesItem is the forecast of one line. A figure that is not known is nil.
type SparesItem struct {
	Line SparesLine
	// LossPer1000 is the shrunk loss rate, per 1,000 attempts, with its central
	// 95 % interval; nil when no group has attempts on record.
	LossPer1000, LossLowerPer1000, LossUpperPer1000 *float64
	// MeanLosses is how many will be lost, on average, until all remaining ones
	// are installed, replacements that are lost in turn counted; nil also when
	// the rate is so uncertain that there is no mean.
	MeanLosses *float64
	// Losses is how many must be allowed for at the service level, Need those and
	// the remaining installs together; nil also when no number of up to
	// stats.MaxCount suffices.
	Losses, Need *int64
	// RunOut is the probability that what is on hand does not suffice.
	RunOut *float64
	// Short is how many are wanting, Order that rounded up to whole packs; both
	// 0 when the stock suffices at the service level.
	Short, Order *int64
	// OrderBy is the last day on which an order still arrives before the stock no
	// longer covers what may be needed; nil when nothing is to be ordered or the
	// plan is not known. It may lie before AsOf: then Late.
	OrderBy *time.Time
	Late    bool
	// CoversInstalls is how many installs the stock covers at the service level.
	CoversInstalls *int64
	// Sentence says it plainly.
	Sentence string
}

// sparesConfidence is that of the interval shown with a loss rate.
const sparesConfidence = 0.95

// Spares forecasts for each line how much hardware the remaining installs will
// take, and when to order. The error is a *stats.ArgumentError, for an option or
// a figure out of range.
func Spares(in SparesInput, o SparesOptions) (SparesAnswer, error) {
	o.ServiceLevel = cmp.Or(o.ServiceLevel, 0.95)
	if !(o.ServiceLevel > 0 && o.ServiceLevel < 1) {
		return SparesAnswer{}, sparesRefuse("service level", o.ServiceLevel, "must lie between 0 and 1, both excluded")
	}
	lines, err := sparesChecked(in.Lines)
	if err != nil {
		return SparesAnswer{}, err
	}
	a := SparesAnswer{ServiceLevel: o.ServiceLevel}
	posteriors, err := sparesPosteriors(&a, lines, in.Others)
	if err != nil {
		return SparesAnswer{}, err
	}
	for i, line := range lines {
		item := SparesItem{Line: line}
		if posteriors != nil {
			if err := item.forecast(posteriors[i], o); err != nil {
				return SparesAnswer{}, err
			}
		}
		item.Sentence = sparesSentence(&item, o)
		a.Items = append(a.Items, item)
	}
	slices.SortStableFunc(a.Items, sparesByUrgency)
	sparesWords(&a, o)
	return a, nil
}

func sparesRefuse(argument string, value any, requirement string) error {
	return &stats.ArgumentError{Argument: argument, Value: fmt.Sprint(value), Requirement: requirement}
}

// sparesChecked gives the lines in order of their names, defaults filled in.
func sparesChecked(lines []SparesLine) ([]SparesLine, error) {
	checked := slices.Clone(lines)
	slices.SortStableFunc(checked, sparesByName)
	for i := range checked {
		l := &checked[i]
		of := " of " + sparesName(*l)
		for _, c := range []struct {
			name        string
			value       int64
			least, most int64
		}{
			{"failures", l.Failures, 0, stats.MaxCount},
			{"attempts", l.Attempts, 0, stats.MaxCount},
			{"remaining installs", l.Remaining, 0, sparesMostInstalls},
			{"stock on hand", l.OnHand, -stats.MaxCount, stats.MaxCount},
			{"lead time in days", l.LeadTimeDays, 0, sparesMostDays},
			{"pack size", l.PackSize, 0, stats.MaxCount},
		} {
			if c.value < c.least || c.value > c.most {
				return nil, sparesRefuse(c.name+of, c.value, fmt.Sprintf("must be at least %d and at most %d", c.least, c.most))
			}
		}
		if !(l.InstallsPerDay >= 0) || math.IsInf(l.InstallsPerDay, 1) {
			return nil, sparesRefuse("installs a day"+of, l.InstallsPerDay, "must be a finite number of at least 0")
		}
		if i > 0 && sparesByName(checked[i-1], *l) == 0 {
			return nil, sparesRefuse("line", sparesName(*l), "must be given only once")
		}
		l.PackSize = cmp.Or(l.PackSize, 1)
	}
	return checked, nil
}

func sparesByName(a, b SparesLine) int {
	return cmp.Or(cmp.Compare(a.Fastener, b.Fastener), cmp.Compare(a.Site, b.Site))
}

// unusable says that the line's own record gives no rate.
func (l *SparesLine) unusable() bool { return l.DenominatorUnknown || l.Failures > l.Attempts }

// sparesPosteriors gives each line's shrunk loss rate; nil when nothing at all
// is on record.
func sparesPosteriors(a *SparesAnswer, lines []SparesLine, others []stats.FailureCount) ([]stats.BetaPosterior, error) {
	var counts []stats.FailureCount
	for _, l := range lines {
		c := stats.FailureCount{Failures: l.Failures, Attempts: l.Attempts}
		if l.unusable() {
			c = stats.FailureCount{}
		}
		counts = append(counts, c)
	}
	counts = append(counts, others...)
	for i, c := range counts {
		// Said here in the caller's terms, who does not know of the list made above.
		if i >= len(lines) && (c.Failures < 0 || c.Failures > c.Attempts) {
			return nil, sparesRefuse(fmt.Sprintf("failures of other group %d", i-len(lines)+1), c.Failures, fmt.Sprintf("must be at least 0 and at most its attempts, %d", c.Attempts))
		}
		if c.Attempts > 0 {
			a.Groups++
		}
	}
	if a.Groups == 0 {
		return nil, nil
	}
	s, err := stats.ShrinkProportions(counts)
	if err != nil {
		return nil, err
	}
	a.Prior, a.Shrinkage = s.Prior, s.Fallback
	return s.Posteriors[:len(lines)], nil
}

// sparesByUrgency puts first what is to be ordered, by its date, then what is
// the likelier to run out.
func sparesByUrgency(a, b SparesItem) int {
	if (a.OrderBy == nil) != (b.OrderBy == nil) {
		if a.OrderBy != nil {
			return -1
		}
		return 1
	}
	if a.OrderBy != nil {
		if c := a.OrderBy.Compare(*b.OrderBy); c != 0 {
			return c
		}
	}
	// What is not known may be the worst.
	runOut := func(i SparesItem) float64 {
		if i.RunOut == nil {
			return 2
		}
		return *i.RunOut
	}
	return cmp.Compare(runOut(b), runOut(a))
}
