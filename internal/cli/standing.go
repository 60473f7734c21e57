package cli

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/csvfile"
)

const standingHelp = `GROUPING is what is ranked: site, region, lot, supplier, treatment, material, thread,
driving-method, tool, month, week or day; people by name only with --by-name.

Each is compared with what would be expected of it for its mix, that is at the rate of
all in each combination of the groupings of --mix. When --mix is not given it is lot,
treatment and material, as far as there are columns of them; --mix none compares crude
rates only. What belongs to one alone, such as the lot when lots are ranked, can be no
part of the mix.

Without --from, the records of the server are asked, narrowed by --kind, --site, --lot
and so on, --since and --until; lots and suppliers are then compared at equal mix of
site, treatment and material when --mix is not given.

The file has a column for each grouping that is asked for (driving_method with an
underscore or a hyphen), and failures and attempts, or failures and successes. Rows with
the same values are added up.

In the figure * is the ratio of failures to those expected, | is 1, ( ) are the limits
of 2 sigma and [ ] those of 3 sigma for so many expected, over-dispersion included.

In JSON and CSV, above_ratio_limit and above_rate_limit are the probabilities that the
shrunk figure lies above the limit given; band is above-3-sigma, above-2-sigma, within,
below-2-sigma, below-3-sigma or unknown.`

// standingOptions are the flags of standing.
type standingOptions struct {
	from     string
	mix      []analysis.Grouping
	mixGiven bool
	byName   bool
	scope    *scope
	analysis.StandingOptions
}

func (a *app) standingCommand() *cobra.Command {
	o := &standingOptions{}
	cmd := a.command("standing GROUPING", "Which sites, lots or suppliers stand out, allowing for mix and chance", standingHelp)
	cmd.Example = "  trackctl standing site --kind galling --since 2026-01-01\n" +
		"  trackctl standing site --mix lot,treatment,material --from counts.csv\n" +
		"  trackctl standing lot --mix treatment --limit-ratio 2 --from counts.csv -o csv"
	completeGroupings(cmd)
	f := newFields(cmd)
	fromFlag(f, &o.from, "counts by grouping")
	groupingsFlag(f, &o.mix, "mix", "compare at equal mix of these, parted by commas", noMix)
	confidenceFlag(f, &o.Confidence)
	f.bind("limit-per-1000", "", "NUMBER", "failures per 1000 attempts that shrunk rates are held against", func(text string) error {
		v, err := numberWithin(text, 0, 1000)
		o.LimitPer1000 = v
		return err
	})
	aboveZeroFlag(f, &o.RatioLimit, "limit-ratio", "ratio of failures to those expected that shrunk ratios are held against; 1 when not given")
	byNameFlag(f, &o.byName)
	o.scope = newScope(f, true, scopeGroupings()...)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if f.isGiven("limit-per-1000") && f.isGiven("limit-ratio") {
			return usage("expected --limit-per-1000 or --limit-ratio, got both")
		}
		o.mixGiven = f.isGiven("mix")
		if o.from == "" {
			return a.standingOnServer(ctx, args[0], o)
		}
		if err := o.scope.noFile(); err != nil {
			return err
		}
		source, err := a.source(f, o.from)
		if err != nil {
			return err
		}
		return a.standing(ctx, source, args[0], o)
	})
}

// noMix compares crude rates.
const noMix = "none"

// numberWithin reads a number between two others, both excluded.
func numberWithin(text string, low, high float64) (float64, error) {
	v, problem := csvfile.ParseNumber(text)
	if problem != "" || !(v > low && v < high) {
		return 0, fmt.Errorf("expected a number above %g and below %g, got %s", low, high, csvfile.Quote(text))
	}
	return v, nil
}

func (a *app) standing(ctx context.Context, source rowSource, typed string, o *standingOptions) error {
	g, err := groupingArg(typed)
	if err != nil {
		return err
	}
	if slices.Contains(o.mix, g) {
		return usage("--mix: %s is what is ranked; expected other groupings", analysis.Groupings.Name(g))
	}
	if err := checkByName(o.byName, append(o.mix, g)...); err != nil {
		return err
	}
	mix := o.mix
	if !o.mixGiven {
		if mix, err = usualMix(ctx, source, g); err != nil {
			return err
		}
	}
	rows, cautions, err := source.Counts(ctx, append([]analysis.Grouping{g}, mix...))
	if err != nil {
		return err
	}
	var cells []analysis.StandingCell
	for _, r := range rows {
		cells = append(cells, analysis.StandingCell{Unit: r.Values[0], Stratum: r.Values[1:], Failures: r.Failures, Attempts: r.Attempts})
	}
	o.Unit = strings.ReplaceAll(analysis.Groupings.Name(g), "-", " ")
	for _, m := range mix {
		o.Mix = append(o.Mix, strings.ReplaceAll(analysis.Groupings.Name(m), "-", " "))
	}
	answer, err := analysis.Standing(cells, o.StandingOptions)
	if err != nil {
		return analysisFailure(err, source, nil)
	}
	if len(mix) == 0 {
		cautions = append(cautions, "Crude rates are compared: nothing allows for which lots, treatments and materials each had.")
	}
	answer.Cautions = append(answer.Cautions, cautions...)
	return a.tellStanding(&standingShown{StandingAnswer: answer, grouping: g, mix: mix,
		confidence: orDefault(o.Confidence, 0.95), ratioLimit: orDefault(o.RatioLimit, 1), limitPer1000: o.LimitPer1000})
}

// usualMix is lot, treatment and material as far as the source has them; a lot tells
// its supplier, so neither is in the mix of the other.
func usualMix(ctx context.Context, source rowSource, ranked analysis.Grouping) ([]analysis.Grouping, error) {
	have, err := source.Groupings(ctx)
	if err != nil {
		return nil, err
	}
	var mix []analysis.Grouping
	for _, g := range []analysis.Grouping{analysis.ByLot, analysis.ByTreatment, analysis.ByMaterial} {
		if g == ranked || g == analysis.ByLot && ranked == analysis.BySupplier || !slices.Contains(have, g) {
			continue
		}
		mix = append(mix, g)
	}
	return mix, nil
}

// funnelTop is the ratio at the right end of the figure.
func funnelTop(units []analysis.StandingUnit) float64 {
	const least, most = 2, 8
	top := float64(least)
	for _, u := range units {
		if u.Ratio != nil {
			top = math.Max(top, *u.Ratio)
		}
		if u.ThreeSigma != nil {
			top = math.Max(top, u.ThreeSigma.Upper)
		}
	}
	return math.Min(math.Ceil(top), most)
}
