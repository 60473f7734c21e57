package cli

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/countfile"
	"jointledger/internal/stats"
)

const compareHelp = `GROUPING is what tells A and B apart: site, region, lot, supplier, treatment, material,
thread, driving-method, person, tool, month, week or day. B may be "others": all rows but
those of A. "(none)" stands for what the rows leave empty.

With --strata, like is compared with like as well: crude and stratified figures stand
side by side, and a sentence says where they disagree. The stratified p-value is that of
the Cochran-Mantel-Haenszel test, corrected for continuity unless --uncorrected is given.

Without --from, the records of the server are asked, narrowed by --kind, --site, --lot
and so on, --since and --until. With --by-joint the interval that allows for fasteners of
one joint failing together stands beside the others.

The file has a column for each grouping that is asked for (driving_method with an
underscore or a hyphen), and failures and attempts, or failures and successes. Rows with
the same values are added up.

--method takes one word for each measure: newcombe (when not given) or mee for the
difference; katz (when not given) or koopman for the relative risk; miettinen-nurminen
for both; exact (when not given), mid-p or woolf for the odds ratio.

JSON and CSV have a row "crude", with strata a row "common", and a row "stratum" for each
of them. Names end in _a or _b for the arms; differences are A less B. A ratio that is
unbounded has no estimate, an upper limit that is null has no end.`

// othersWord stands for all rows but those of A.
const othersWord = "others"

// compareOptions are the flags of compare.
type compareOptions struct {
	from    string
	strata  []analysis.Grouping
	byName  bool
	byJoint bool
	methods []string
	scope   *scope
	analysis.CompareOptions
}

func (a *app) compareCommand() *cobra.Command {
	o := &compareOptions{}
	cmd := a.command("compare GROUPING A B", "How often A fails, set against B", compareHelp)
	cmd.Example = "  trackctl compare treatment anti-seize none --kind galling --strata site,lot --by-joint\n" +
		"  trackctl compare treatment anti-seize none --strata site --from counts.csv\n" +
		"  trackctl compare lot L-1042 others --strata site,treatment --verb galls --from counts.csv -o json"
	completeGroupings(cmd)
	f := newFields(cmd)
	fromFlag(f, &o.from, "counts by grouping")
	groupingsFlag(f, &o.strata, "strata", "compare inside these only, parted by commas")
	f.words("method", "", "methods of the intervals, parted by commas", compareMethods, o.method)
	confidenceFlag(f, &o.Confidence)
	f.boolean(&o.Uncorrected, "uncorrected", "", "leave out the correction for continuity of the Cochran-Mantel-Haenszel test")
	f.text(&o.Verb, "verb", "", "what a failure does, for the sentences, such as galls; fails when not given")
	byNameFlag(f, &o.byName)
	o.scope = newScope(f, true, scopeGroupings()...)
	f.boolean(&o.byJoint, "by-joint", "by_joint", "on the server: compare by joint as well, for fasteners of one joint fail together")
	o.scope.also("by-joint")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if o.from == "" {
			return a.compareOnServer(ctx, args, o)
		}
		if err := o.scope.noFile(); err != nil {
			return err
		}
		source, err := a.source(f, o.from)
		if err != nil {
			return err
		}
		return a.compare(ctx, source, args, o)
	})
}

var compareMethods = []string{"newcombe", "mee", "miettinen-nurminen", "katz", "koopman", "exact", "mid-p", "woolf"}

// method takes one word of --method; two for the same measure are a slip.
func (o *compareOptions) method(word string) error {
	i, err := chosen("method", compareMethods, word)
	if err != nil {
		return err
	}
	difference := map[string]stats.DifferenceMethod{"newcombe": stats.NewcombeHybrid, "mee": stats.Mee, "miettinen-nurminen": stats.MiettinenNurminen}
	risk := map[string]stats.RelativeRiskMethod{"katz": stats.Katz, "koopman": stats.Koopman, "miettinen-nurminen": stats.MiettinenNurminenRatio}
	odds := map[string]stats.OddsRatioMethod{"exact": stats.ConditionalExact, "mid-p": stats.ConditionalMidP, "woolf": stats.WoolfLog}
	word = compareMethods[i-1]
	d, r, q := difference[word], risk[word], odds[word]
	for _, earlier := range o.methods {
		if d != 0 && difference[earlier] != 0 || r != 0 && risk[earlier] != 0 || q != 0 && odds[earlier] != 0 {
			return fmt.Errorf("expected one method for each measure, got %s and %s", earlier, word)
		}
	}
	o.methods = append(o.methods, word)
	o.Difference, o.RelativeRisk, o.OddsRatio = max(o.Difference, d), max(o.RelativeRisk, r), max(o.OddsRatio, q)
	return nil
}

func (a *app) compare(ctx context.Context, source rowSource, args []string, o *compareOptions) error {
	g, err := groupingArg(args[0])
	if err != nil {
		return err
	}
	if slices.Contains(o.strata, g) {
		return usage("--strata: %s is what is compared; expected other groupings", analysis.Groupings.Name(g))
	}
	if err := checkByName(o.byName, append(o.strata, g)...); err != nil {
		return err
	}
	rows, cautions, err := source.Counts(ctx, append([]analysis.Grouping{g}, o.strata...))
	if err != nil {
		return err
	}
	in, err := comparisonOf(source, g, args[1], args[2], rows)
	if err != nil {
		return err
	}
	in.StratifiedBy = o.strata
	answer, err := analysis.Compare(in, o.CompareOptions)
	if err != nil {
		return analysisFailure(err, source, nil)
	}
	answer.Cautions = append(answer.Cautions, cautions...)
	return a.tellComparison(&comparisonAnswer{CompareAnswer: answer, grouping: g, by: o.strata, confidence: orDefault(o.Confidence, 0.95)})
}

// orDefault gives a number in place of one that was not given.
func orDefault(v, instead float64) float64 {
	if v == 0 {
		return instead
	}
	return v
}

// comparisonOf sorts the rows, whose first value is of the grouping, into the arms of
// their strata.
func comparisonOf(source rowSource, g analysis.Grouping, typedA, typedB string, rows []countfile.Count) (analysis.CompareInput, error) {
	var values []string
	for _, r := range rows {
		if !slices.Contains(values, r.Values[0]) {
			values = append(values, r.Values[0])
		}
	}
	var in analysis.CompareInput
	var err error
	if in.NameA, err = valueIn(source, g, "A", typedA, values); err != nil {
		return in, err
	}
	others := strings.EqualFold(typedB, othersWord) && !slices.Contains(values, othersWord)
	if others {
		in.NameB = "the others"
	} else if in.NameB, err = valueIn(source, g, "B", typedB, values); err != nil {
		return in, err
	}
	if in.NameA == in.NameB {
		return in, usage("B: expected another %s than A, got %s", analysis.Groupings.Name(g), shownName(in.NameB))
	}
	at := map[string]int{}
	for _, r := range rows {
		isA := r.Values[0] == in.NameA
		if !isA && !others && r.Values[0] != in.NameB {
			continue
		}
		key := strings.Join(r.Values[1:], "\x00")
		i, known := at[key]
		if !known {
			i = len(in.Strata)
			at[key], in.Strata = i, append(in.Strata, analysis.CompareStratum{Names: r.Values[1:]})
		}
		arm := &in.Strata[i].B
		if isA {
			arm = &in.Strata[i].A
		}
		arm.Failures, arm.Attempts = arm.Failures+r.Failures, arm.Attempts+r.Attempts
	}
	return in, nil
}
