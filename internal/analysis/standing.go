package analysis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"jointledger/internal/stats"
)

// StandingCell is what one unit (a site, a supplier, a person …) has on record
// in one stratum of the mix that units are made comparable by.
type StandingCell struct {
	Unit string
	// Stratum is the values that make up the mix, such as lot, treatment and
	// material; none when units are compared as they are. They must not say
	// which unit it is: a lot cannot be compared within its own lot.
	Stratum  []string
	Failures int64
	Attempts int64
	// DenominatorUnknown is set when no tightening stands beside the failures.
	DenominatorUnknown bool
}

// StandingOptions says how units are compared; the zero value will do.
type StandingOptions struct {
	// Unit is what the units are, in the singular, as in "site"; "unit" when
	// empty.
	Unit string
	// Mix names the parts of a stratum, as in "lot".
	Mix []string
	// Confidence of all two-sided intervals, strictly between 0 and 1; 0.95
	// when 0.
	Confidence float64
	// RatioLimit is the standardised ratio that units are held against; 1 when 0.
	RatioLimit float64
	// LimitPer1000 is the rate, in failures per 1,000 attempts, that they are
	// held against; none when 0.
	LimitPer1000 float64
	// Seed of the simulation that ranks rest on. The same seed and counts give
	// the same answer.
	Seed uint64
}

// StandingAnswer says which units stand out beyond chance and mix.
type StandingAnswer struct {
	// Units are sorted by standardised ratio, highest first, then by name; those
	// without a ratio come last.
	Units []StandingUnit
	// Failures and Attempts are those of all units; the rate and its limits are
	// per 1,000 attempts, nil when there are no attempts.
	Failures, Attempts                      int64
	RatePer1000, LowerPer1000, UpperPer1000 *float64
	// OverDispersion is the factor by which units vary more than chance makes
	// them; nil with fewer than two units to compare. Funnel limits and p-values
	// allow for it where it is above 1.
	OverDispersion *float64
	// RatioShrinkage and RateShrinkage say whether shrunk figures rest on a
	// fitted prior, or on what.
	RatioShrinkage, RateShrinkage stats.Fallback
	// Headlines are the sentences to read first.
	Headlines  []string
	Method     string
	Assumption string
	Cautions   []string
}

// StandingUnit is where one unit stands. A figure that is not known is nil.
type StandingUnit struct {
	Unit               string
	Failures, Attempts int64
	// The crude rate with Wilson's interval, per 1,000 attempts; rank 1 is the
	// highest, units with equal rates share the better rank.
	RatePer1000, LowerPer1000, UpperPer1000 float64
	CrudeRank                               int
	// Expected is the failures that the unit would have had at the pooled rate
	// of each stratum.
	Expected float64
	// Ratio is failures over expected, with exact limits; nil when nothing was
	// expected, or when no other unit shares any of its strata. The rank is as
	// for the crude rate, 0 without a ratio.
	Ratio, RatioLower, RatioUpper *float64
	StandardisedRank              int
	// Band is where the ratio lies in the funnel; Two and ThreeSigma are the
	// funnel's limits for it, with over-dispersion.
	Band                 StandingBand
	TwoSigma, ThreeSigma *stats.Interval
	// PValue is of the ratio against 1, with over-dispersion; PAdjusted is after
	// Benjamini and Hochberg over the units.
	PValue, PAdjusted *float64
	// ShrunkRatio is the ratio drawn towards those of the others, with its
	// interval and the probability that it lies above the ratio limit.
	ShrunkRatio, ShrunkLower, ShrunkUpper, AboveRatioLimit *float64
	// Rank of the shrunk ratio: its mean, and its interval.
	RankMean             *float64
	RankLower, RankUpper int
	// ShrunkPer1000 is the crude rate drawn towards those of the others, with
	// its interval and the probability that it lies above LimitPer1000.
	ShrunkPer1000, ShrunkLowerPer1000, ShrunkUpperPer1000 float64
	AbovePer1000                                          *float64
	// Sentence is one plain sentence if the unit stands out, and empty if not.
	Sentence string
}

// StandingBand is where a ratio lies in the funnel.
type StandingBand int

// Bands, from the worst; BandUnknown without a ratio.
const (
	BandUnknown StandingBand = iota
	AboveThreeSigma
	AboveTwoSigma
	WithinFunnel
	BelowTwoSigma
	BelowThreeSigma
)

// String gives "unknown", "above-3-sigma", "above-2-sigma", "within",
// "below-2-sigma" or "below-3-sigma".
func (b StandingBand) String() string {
	names := []string{"unknown", "above-3-sigma", "above-2-sigma", "within", "below-2-sigma", "below-3-sigma"}
	if b < 0 || int(b) >= len(names) {
		return "StandingBand(" + strconv.Itoa(int(b)) + ")"
	}
	return names[b]
}

// StandsOut says whether the ratio lies outside the two-sigma limits.
func (u *StandingUnit) StandsOut() bool { return u.Band != BandUnknown && u.Band != WithinFunnel }

// standingDraws is how many orders of so many units are simulated: 2000, with which the
// standard error of a probability of 2.5 % is 0.35 %; of more than 500 units fewer, down
// to 500 and 0.70 %, for a rank among thousands is not asked for to the place.
func standingDraws(units int) int {
	const most, least, whole = 2000, 500, 500
	return max(least, min(most, most*whole/max(units, 1)))
}

// standingWinsorised is the share of units at each end that are drawn in before
// over-dispersion is measured: Spiegelhalter (2005).
const standingWinsorised = 0.1

// Standing compares units allowing for their mix and for chance. Cells of the
// same unit and stratum are added up; cells without a known denominator, or with
// more failures than attempts, are left out and named in a caution. The error is
// a *stats.ArgumentError, for an option or a count out of range.
func Standing(cells []StandingCell, o StandingOptions) (StandingAnswer, error) {
	if err := o.complete(); err != nil {
		return StandingAnswer{}, err
	}
	mix, err := standingMixOf(cells)
	if err != nil {
		return StandingAnswer{}, err
	}
	a := StandingAnswer{Units: mix.units, Failures: mix.failures, Attempts: mix.attempts}
	if a.Attempts > 0 {
		i, err := stats.Proportion(a.Failures, a.Attempts, stats.Wilson, o.Confidence)
		if err != nil {
			return StandingAnswer{}, err
		}
		a.RatePer1000, a.LowerPer1000, a.UpperPer1000 = standingPer1000(float64(a.Failures)/float64(a.Attempts)), standingPer1000(i.Lower), standingPer1000(i.Upper)
		for _, step := range []func(*StandingAnswer, StandingOptions) error{
			standingCrude, standingRatios, standingFunnel, standingShrinkage,
		} {
			if err := step(&a, o); err != nil {
				return StandingAnswer{}, err
			}
		}
	}
	slices.SortStableFunc(a.Units, func(a, b StandingUnit) int {
		if a.Ratio == nil || b.Ratio == nil {
			return cmp.Compare(standingBool(a.Ratio == nil), standingBool(b.Ratio == nil))
		}
		return cmp.Compare(*b.Ratio, *a.Ratio)
	})
	standingWords(&a, &mix, o)
	return a, nil
}

func standingPer1000(rate float64) *float64 {
	rate *= 1000
	return &rate
}

func standingBool(b bool) int {
	if b {
		return 1
	}
	return 0
}

// complete fills in the defaults and refuses what is out of range, so that the
// answer to a bad question does not depend on what is on record.
func (o *StandingOptions) complete() error {
	o.Unit = cmp.Or(o.Unit, "unit")
	o.Confidence = cmp.Or(o.Confidence, 0.95)
	o.RatioLimit = cmp.Or(o.RatioLimit, 1)
	if _, err := stats.Proportion(0, 1, stats.Wilson, o.Confidence); err != nil {
		return err
	}
	if !(o.RatioLimit > 0) || math.IsInf(o.RatioLimit, 1) {
		return &stats.ArgumentError{Argument: "ratio limit", Value: fmt.Sprint(o.RatioLimit), Requirement: "must be a finite number above 0"}
	}
	if !(o.LimitPer1000 >= 0 && o.LimitPer1000 < 1000) {
		return &stats.ArgumentError{Argument: "limit per 1,000", Value: fmt.Sprint(o.LimitPer1000), Requirement: "must be at least 0 and below 1000"}
	}
	return nil
}
