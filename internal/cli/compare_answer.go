package cli

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/cli/rangeline"
	"jointledger/internal/stats"
)

// comparisonAnswer is what compare shows.
type comparisonAnswer struct {
	analysis.CompareAnswer
	byJoint    *analysis.CompareClusterAnswer // nil when there is none
	grouping   analysis.Grouping
	by         []analysis.Grouping
	confidence float64
}

// comparedRow is one comparison: of all attempts, inside the strata, or in one of them.
type comparedRow struct {
	comparison   string
	stratum      []string
	a, b         *analysis.CompareRate
	risk, odds   *stats.RatioInterval
	difference   *analysis.CompareDifference
	p            *float64
	test, note   string
	axis         *rangeline.Axis
	stratumNames string
}

func (c *comparisonAnswer) rows() []comparedRow {
	rows := []comparedRow{{
		comparison: "crude", stratumNames: "all together", a: &c.A, b: &c.B, risk: &c.Crude.RelativeRisk, odds: &c.Crude.OddsRatio,
		difference: &c.Crude.Difference, p: &c.Crude.FisherP, test: "fisher",
	}}
	if s := c.Stratified; s != nil {
		rows = append(rows, comparedRow{
			comparison: "common", stratumNames: "like with like", risk: &s.RelativeRisk, odds: &s.OddsRatio,
			difference: s.Difference, p: &s.CMH.P, test: "cochran-mantel-haenszel",
		})
	}
	for _, s := range c.Strata {
		var names []string
		for _, n := range s.Names {
			names = append(names, shownName(n))
		}
		rows = append(rows, comparedRow{comparison: "stratum", stratum: s.Names, stratumNames: strings.Join(names, " / "),
			a: s.A, b: s.B, risk: s.RelativeRisk, note: s.Note})
	}
	axis := forestAxis(rows)
	for i := range rows {
		rows[i].axis = &axis
	}
	return rows
}

// forestWidth is that of the figure beside the table, so that both fit in 80 columns.
const forestWidth = 19

// forestAxis is symmetric about 1 and holds the estimates and limits, up to a factor
// beyond which lines are cut.
func forestAxis(rows []comparedRow) rangeline.Axis {
	steps := []float64{1.25, 1.5, 2, 3, 5, 10, 20, 50}
	factor := 1.0
	for _, r := range rows {
		if r.risk == nil {
			continue
		}
		for _, v := range []*float64{r.risk.Estimate, &r.risk.Lower, r.risk.Upper} {
			if v != nil && *v > 0 {
				factor = math.Max(factor, math.Exp(math.Abs(math.Log(*v))))
			}
		}
	}
	high := steps[len(steps)-1]
	for _, s := range slices.Backward(steps) {
		if s >= factor {
			high = s
		}
	}
	return rangeline.Axis{Low: 1 / high, High: high, Log: true, Width: forestWidth}
}

// forest draws the relative risk on its axis.
func (r comparedRow) forest() string {
	if r.risk == nil {
		return "one arm only"
	}
	marks := []rangeline.Mark{{At: 1, Letter: '|'}}
	if r.risk.Vacuous() {
		return strings.TrimRight(r.axis.Line(nil, nil, marks...), " ") + " says nothing"
	}
	if e := r.risk.Estimate; e != nil {
		marks = append(marks, rangeline.Mark{At: *e, Letter: 'o'})
	}
	return strings.TrimRight(r.axis.Line(&r.risk.Lower, r.risk.Upper, marks...), " ")
}

func forestHeading(axis rangeline.Axis) string {
	right := rounded(axis.High, 2)
	left := "1/" + right
	return left + strings.Repeat(" ", forestWidth/2-len(left)) + "1" + strings.Repeat(" ", forestWidth/2-len(right)) + right
}

// comparedColumns are the columns of compare; names are those of the arms in a table.
func comparedColumns(nameA, nameB, interval string, axis rangeline.Axis) []output.Column[comparedRow] {
	type row = comparedRow
	of := func(rate *analysis.CompareRate) string {
		if rate == nil {
			return "-"
		}
		return fmt.Sprintf("%d/%d", rate.Failures, rate.Attempts)
	}
	columns := []output.Column[row]{
		{Name: "comparison", Value: func(r row) any { return r.comparison }},
		{Name: "stratum", Heading: "COMPARISON", Value: func(r row) any { return r.stratum }, Text: func(r row) string { return r.stratumNames }},
		{Heading: strings.ToUpper(nameA), Text: func(r row) string { return of(r.a) }},
		{Heading: strings.ToUpper(nameB), Text: func(r row) string { return of(r.b) }},
		{Heading: "RISK RATIO, " + interval, Text: func(r row) string {
			if r.risk == nil || r.risk.Vacuous() {
				return ratioEstimate(r.risk)
			}
			return ratioEstimate(r.risk) + " (" + rangeText(ratioText, &r.risk.Lower, r.risk.Upper) + ")"
		}},
		{Heading: forestHeading(axis), Text: row.forest},
	}
	columns = append(columns, comparedArm("a", func(r row) *analysis.CompareRate { return r.a })...)
	columns = append(columns, comparedArm("b", func(r row) *analysis.CompareRate { return r.b })...)
	columns = append(columns, comparedDifference()...)
	columns = append(columns, ratioColumns("relative_risk", func(r row) *stats.RatioInterval { return r.risk })...)
	columns = append(columns, ratioColumns("odds_ratio", func(r row) *stats.RatioInterval { return r.odds })...)
	return append(columns,
		output.Column[row]{Name: "p_value", Value: func(r row) any { return pointed(r.p) }},
		output.Column[row]{Name: "test", Value: func(r row) any { return text(r.test) }},
		output.Column[row]{Name: "note", Value: func(r row) any { return text(r.note) }})
}

func comparedArm(arm string, rate func(comparedRow) *analysis.CompareRate) []output.Column[comparedRow] {
	member := func(name string, value func(*analysis.CompareRate) any) output.Column[comparedRow] {
		return output.Column[comparedRow]{Name: name, Value: func(r comparedRow) any {
			if rate(r) == nil {
				return nil
			}
			return value(rate(r))
		}}
	}
	return []output.Column[comparedRow]{
		member("failures_"+arm, func(c *analysis.CompareRate) any { return c.Failures }),
		member("attempts_"+arm, func(c *analysis.CompareRate) any { return c.Attempts }),
		member("rate_"+arm+"_per_1000", func(c *analysis.CompareRate) any { return c.RatePer1000 }),
		member("lower_"+arm+"_per_1000", func(c *analysis.CompareRate) any { return c.LowerPer1000 }),
		member("upper_"+arm+"_per_1000", func(c *analysis.CompareRate) any { return c.UpperPer1000 }),
	}
}

func comparedDifference() []output.Column[comparedRow] {
	member := func(name string, value func(*analysis.CompareDifference) any) output.Column[comparedRow] {
		return output.Column[comparedRow]{Name: name, Value: func(r comparedRow) any {
			if r.difference == nil {
				return nil
			}
			return value(r.difference)
		}}
	}
	needed := func(name string, value func(*stats.NumberNeeded) any) output.Column[comparedRow] {
		return member(name, func(d *analysis.CompareDifference) any {
			if d.NumberNeeded == nil {
				return nil
			}
			return value(d.NumberNeeded)
		})
	}
	side := func(r *stats.NumberNeededRange, most bool) any {
		switch {
		case r == nil:
			return nil
		case most:
			return pointed(r.Most)
		}
		return r.Least
	}
	return []output.Column[comparedRow]{
		member("difference_per_1000", func(d *analysis.CompareDifference) any { return d.Per1000 }),
		member("difference_lower_per_1000", func(d *analysis.CompareDifference) any { return pointed(d.LowerPer1000) }),
		member("difference_upper_per_1000", func(d *analysis.CompareDifference) any { return pointed(d.UpperPer1000) }),
		needed("number_needed_attempts", func(n *stats.NumberNeeded) any { return pointed(n.Estimate) }),
		needed("number_needed_is_for_fewer", func(n *stats.NumberNeeded) any { return n.EstimateFewer }),
		needed("fewer_least_attempts", func(n *stats.NumberNeeded) any { return side(n.Fewer, false) }),
		needed("fewer_most_attempts", func(n *stats.NumberNeeded) any { return side(n.Fewer, true) }),
		needed("more_least_attempts", func(n *stats.NumberNeeded) any { return side(n.More, false) }),
		needed("more_most_attempts", func(n *stats.NumberNeeded) any { return side(n.More, true) }),
	}
}

// ratioColumns are the members of a ratio with its interval.
func ratioColumns[T any](name string, ratio func(T) *stats.RatioInterval) []output.Column[T] {
	member := func(suffix string, value func(*stats.RatioInterval) any) output.Column[T] {
		return output.Column[T]{Name: name + suffix, Value: func(row T) any {
			if ratio(row) == nil {
				return nil
			}
			return value(ratio(row))
		}}
	}
	return []output.Column[T]{
		member("", func(r *stats.RatioInterval) any { return pointed(r.Estimate) }),
		member("_unbounded", func(r *stats.RatioInterval) any { return r.Unbounded }),
		member("_lower", func(r *stats.RatioInterval) any { return r.Lower }),
		member("_upper", func(r *stats.RatioInterval) any { return pointed(r.Upper) }),
	}
}

// ratioEstimate writes the estimate of a ratio.
func ratioEstimate(r *stats.RatioInterval) string {
	switch {
	case r == nil:
		return "-"
	case r.Unbounded:
		return "unbounded"
	case r.Estimate == nil:
		return "-"
	}
	return ratioText(*r.Estimate)
}

func (a *app) tellComparison(c *comparisonAnswer) error {
	words := analysisWords{headline: []string{c.Headline}, method: c.Method, assumption: c.Assumption, cautions: c.Cautions}
	if c.Disagreement != "" {
		words.headline = append(words.headline, c.Disagreement)
	}
	if err := a.lead(words.headline); err != nil {
		return err
	}
	rows := c.rows()
	w, err := output.New(a.config(), "comparisons", comparedColumns(c.A.Name, c.B.Name, percentText(c.confidence), *rows[0].axis))
	if err != nil {
		return err
	}
	for _, r := range rows {
		if err := w.Row(r); err != nil {
			return err
		}
	}
	return w.Close(append(c.notes(a.headlineNote(words)), words.closing()...)...)
}

// comparedNotes are the names of the notes, besides those of every analysis.
var comparedNotes = []string{"headline", "grouping", "a", "b", "strata_by", "confidence", "least_expected", "chi_square",
	"cochran_mantel_haenszel", "breslow_day", "tarone", "strata", "strata_with_both", "strata_informative", "disagreement", "by_joint"}

func (c *comparisonAnswer) notes(headline output.Note) []output.Note {
	rate := func(r analysis.CompareRate) string {
		return fmt.Sprintf("%s: %d of %d failed, %s per 1000 (%s to %s)", r.Name, r.Failures, r.Attempts, threeDigits(r.RatePer1000), threeDigits(r.LowerPer1000), threeDigits(r.UpperPer1000))
	}
	notes := []output.Note{
		headline,
		{Key: "grouping", Value: analysis.Groupings.Name(c.grouping)},
		{Key: "a", Value: c.A.Name, Text: []string{rate(c.A)}},
		{Key: "b", Value: c.B.Name, Text: []string{rate(c.B)}},
		{Key: "strata_by", Value: groupingWords(c.by)},
		{Key: "confidence", Value: c.confidence},
		{Text: measureLines("all together", &c.Crude.Difference, c.Crude.OddsRatio)},
		{Key: "least_expected", Value: c.Crude.LeastExpected},
		{Key: "chi_square", Value: chiSquareObject(c.Crude.ChiSquare), Text: []string{fmt.Sprintf("all together: Fisher's exact p %s; chi-square %s", pText(c.Crude.FisherP), chiSquareText(c.Crude.ChiSquare))}},
	}
	if s := c.Stratified; s != nil {
		tarone := "like with like: nothing to test homogeneity by"
		if s.Homogeneity.Tarone.DegreesOfFreedom > 0 {
			tarone = "like with like: homogeneity of the odds ratios (Breslow-Day with Tarone's correction) " + chiSquareText(s.Homogeneity.Tarone)
		}
		notes = append(notes,
			output.Note{Text: measureLines("like with like", s.Difference, s.OddsRatio)},
			output.Note{Key: "cochran_mantel_haenszel", Value: chiSquareObject(s.CMH), Text: []string{"like with like: Cochran-Mantel-Haenszel " + chiSquareText(s.CMH)}},
			output.Note{Key: "breslow_day", Value: chiSquareObject(s.Homogeneity.BreslowDay)},
			output.Note{Key: "tarone", Value: chiSquareObject(s.Homogeneity.Tarone), Text: []string{tarone}},
			output.Note{Key: "strata", Value: s.Strata}, output.Note{Key: "strata_with_both", Value: s.BothArms}, output.Note{Key: "strata_informative", Value: s.Informative},
		)
	}
	return append(notes, output.Note{Key: "disagreement", Value: text(c.Disagreement)}, byJointNote(c.byJoint))
}

// measureLines are the difference and the odds ratio for a person.
func measureLines(where string, d *analysis.CompareDifference, odds stats.RatioInterval) []string {
	if d == nil {
		return nil
	}
	line := fmt.Sprintf("%s: difference %s per 1000 attempts", where, threeDigits(d.Per1000))
	if d.LowerPer1000 != nil && d.UpperPer1000 != nil {
		line += fmt.Sprintf(" (%s to %s)", threeDigits(*d.LowerPer1000), threeDigits(*d.UpperPer1000))
	}
	line += "; odds ratio " + ratioEstimate(&odds)
	if !odds.Vacuous() {
		line += " (" + rangeText(ratioText, &odds.Lower, odds.Upper) + ")"
	}
	lines := []string{line}
	if d.NumberNeededText != "" {
		lines = append(lines, where+": "+d.NumberNeededText)
	}
	return lines
}
