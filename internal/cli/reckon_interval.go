package cli

import (
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/stats"
)

const reckonIntervalHelp = `With --attempts, the interval of a proportion: how likely a failure is at one attempt.
With --exposure, the interval of a rate: failures for each unit of exposure, such as
hours or cells. --side gives a one-sided bound with the whole of the risk on one side.`

// intervalOptions are the flags of `reckon interval`.
type intervalOptions struct {
	f                  *fields
	failures, attempts int64
	exposure           float64
	method, side       string
	confidence         float64
}

func (a *app) reckonInterval() *cobra.Command {
	o := &intervalOptions{confidence: 0.95}
	cmd := a.command("interval", "Interval of a proportion or a rate", reckonIntervalHelp)
	cmd.Example = "  trackctl reckon interval --failures 81 --attempts 263 --method wilson\n" +
		"  trackctl reckon interval --failures 0 --attempts 300 --method clopper-pearson --side upper\n" +
		"  trackctl reckon interval --failures 7 --exposure 42.5"
	f := newFields(cmd)
	o.f = f
	countFlag(f, &o.failures, "failures", 0, "how many failed")
	countFlag(f, &o.attempts, "attempts", 1, "of how many attempts")
	f.number(&o.exposure, "exposure", "", "over how much exposure, in a unit of your own")
	f.words("method", "", "wilson when not given, garwood and mid-p for a rate with --exposure",
		intervalMethods, func(word string) error {
			i, err := chosen("method", intervalMethods, word)
			if err == nil {
				o.method = intervalMethods[i-1]
			}
			return err
		})
	f.words("side", "", "one-sided bound", []string{"lower", "upper"}, func(word string) error {
		side, err := stats.ParseSide(strings.ToLower(word))
		if err == nil {
			o.side = side.String()
		}
		return err
	})
	f.number(&o.confidence, "confidence", "", "confidence, above 0 and below 1; 0.95 when not given")
	return a.reckons(cmd, func([]string) (*reckoning, error) { return o.reckon() })
}

var intervalMethods = []string{"wilson", "clopper-pearson", "jeffreys", "garwood", "mid-p"}

func (o *intervalOptions) reckon() (*reckoning, error) {
	if err := o.f.require("failures"); err != nil {
		return nil, err
	}
	if err := o.f.exactlyOne("attempts", "exposure"); err != nil {
		return nil, err
	}
	r := &reckoning{}
	r.add("failures", "failures", o.failures, "")
	limits := o.proportion
	if o.f.isGiven("exposure") {
		limits = o.rate
	}
	bounds, per, err := limits(r)
	if err != nil {
		return nil, o.blame(err)
	}
	side := o.side
	if side == "" {
		side = "both"
	}
	r.add("method", "method", o.method, "")
	r.add("side", "side", side, "")
	r.add("confidence", "confidence", o.confidence, percentText(o.confidence))
	estimate := float64(o.failures) / per.of
	r.add("estimate", "estimate", estimate, per.text(estimate))
	r.add("lower", "lower limit", bounds.Lower, per.text(bounds.Lower))
	r.add("upper", "upper limit", bounds.Upper, per.text(bounds.Upper))
	return r, nil
}

// estimand says what an estimate is a share of.
type estimand struct {
	of   float64
	text func(float64) string
}

func (o *intervalOptions) proportion(r *reckoning) (stats.Interval, estimand, error) {
	s := estimand{float64(o.attempts), func(v float64) string { return fmt.Sprintf("%.6f (%.2f per 1000)", v, 1000*v) }}
	if o.method == "" {
		o.method = stats.Wilson.String()
	}
	method, err := stats.ParseProportionMethod(o.method)
	if err != nil {
		return stats.Interval{}, s, err
	}
	r.add("attempts", "attempts", o.attempts, "")
	described := map[stats.ProportionMethod][2]string{
		stats.Wilson:         {"score interval without continuity correction", "E. B. Wilson, J. Amer. Statist. Assoc. 22 (1927) 209-212"},
		stats.ClopperPearson: {"exact central interval from the tails of the binomial distribution", "C. J. Clopper, E. S. Pearson, Biometrika 26 (1934) 404-413"},
		stats.Jeffreys:       {"equal-tailed posterior interval under Beta(1/2, 1/2)", "L. D. Brown, T. T. Cai, A. DasGupta, Statist. Sci. 16 (2001) 101-133"},
	}[method]
	r.formula, r.sources = []string{described[0]}, []string{described[1]}
	r.remarks = []string{"assumes independent attempts with one and the same probability; fasteners of one joint are more alike than that"}
	if o.side == "" {
		i, err := stats.Proportion(o.failures, o.attempts, method, o.confidence)
		return i, s, err
	}
	side, err := stats.ParseSide(o.side)
	if err != nil {
		return stats.Interval{}, s, err
	}
	i, err := stats.ProportionBound(o.failures, o.attempts, method, side, o.confidence)
	return i, s, err
}

func (o *intervalOptions) rate(r *reckoning) (stats.Interval, estimand, error) {
	s := estimand{o.exposure, func(v float64) string { return rounded(v, 6) + " for each unit of exposure" }}
	if o.method == "" {
		o.method = stats.Garwood.String()
	}
	method, err := stats.ParsePoissonMethod(o.method)
	if err != nil {
		return stats.Interval{}, s, err
	}
	r.add("exposure", "exposure", o.exposure, "")
	described := map[stats.PoissonMethod][2]string{
		stats.Garwood: {"exact central interval from the tails of the Poisson distribution", "F. Garwood, Biometrika 28 (1936) 437-442"},
		stats.MidP:    {"exact interval with half weight on the observed count", "H. O. Lancaster, J. Amer. Statist. Assoc. 56 (1961) 223-234"},
	}[method]
	r.formula, r.sources = []string{described[0]}, []string{described[1]}
	r.remarks = []string{"assumes events that come independently at one and the same rate"}
	if o.side == "" {
		i, err := stats.PoissonRate(o.failures, o.exposure, method, o.confidence)
		return i, s, err
	}
	side, err := stats.ParseSide(o.side)
	if err != nil {
		return stats.Interval{}, s, err
	}
	i, err := stats.PoissonRateBound(o.failures, o.exposure, method, side, o.confidence)
	return i, s, err
}

// blame finds the flag of an argument that the statistics refuse.
func (o *intervalOptions) blame(err error) error {
	var e *stats.ArgumentError
	if !errors.As(err, &e) {
		return err
	}
	flag, known := map[string]string{"failures": "failures", "count": "failures", "attempts": "attempts", "exposure": "exposure",
		"confidence": "confidence", "method": "method", "side": "side"}[e.Argument]
	if !known {
		flag = "method"
	}
	return blame(flag, err)
}
