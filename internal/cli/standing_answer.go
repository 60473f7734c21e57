package cli

import (
	"fmt"
	"strconv"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/cli/rangeline"
	"jointledger/internal/stats"
)

// standingShown is what standing shows.
type standingShown struct {
	analysis.StandingAnswer
	grouping                             analysis.Grouping
	mix                                  []analysis.Grouping
	confidence, ratioLimit, limitPer1000 float64
}

// funnelWidth keeps the table within 80 columns.
const funnelWidth = 21

// funnelLine draws where the ratio of a unit lies among its limits.
func funnelLine(u analysis.StandingUnit, axis rangeline.Axis) string {
	if u.Ratio == nil || u.TwoSigma == nil || u.ThreeSigma == nil {
		return "not comparable"
	}
	line := axis.Line(nil, nil,
		rangeline.Mark{At: u.ThreeSigma.Lower, Letter: '['}, rangeline.Mark{At: u.ThreeSigma.Upper, Letter: ']'},
		rangeline.Mark{At: u.TwoSigma.Lower, Letter: '('}, rangeline.Mark{At: u.TwoSigma.Upper, Letter: ')'},
		rangeline.Mark{At: 1, Letter: '|'}, rangeline.Mark{At: *u.Ratio, Letter: '*'})
	return strings.TrimRight(line, " ")
}

func standingColumns(unit string, top float64) []output.Column[analysis.StandingUnit] {
	type row = analysis.StandingUnit
	axis := rangeline.Axis{Low: 0, High: top, Width: funnelWidth}
	right := rounded(top, 0)
	number := func(name string, value func(row) float64) output.Column[row] {
		return output.Column[row]{Name: name, Value: func(u row) any { return value(u) }}
	}
	maybe := func(name string, value func(row) *float64) output.Column[row] {
		return output.Column[row]{Name: name, Value: func(u row) any { return pointed(value(u)) }}
	}
	limits := func(name string, of func(row) *stats.Interval) []output.Column[row] {
		lower := func(u row) *float64 {
			if of(u) == nil {
				return nil
			}
			return &of(u).Lower
		}
		upper := func(u row) *float64 {
			if of(u) == nil {
				return nil
			}
			return &of(u).Upper
		}
		return []output.Column[row]{maybe(name+"_lower", lower), maybe(name+"_upper", upper)}
	}
	columns := []output.Column[row]{
		{Name: "unit", Heading: strings.ToUpper(unit), Value: func(u row) any { return u.Unit }, Text: func(u row) string { return shownName(u.Unit) }},
		{Name: "failures", Value: func(u row) any { return u.Failures }},
		{Name: "attempts", Value: func(u row) any { return u.Attempts }},
		{Heading: "FAILED", Text: func(u row) string { return fmt.Sprintf("%d/%d", u.Failures, u.Attempts) }},
		{Name: "rate_per_1000", Heading: "PER 1000", Value: func(u row) any { return u.RatePer1000 }, Text: func(u row) string { return threeDigits(u.RatePer1000) }},
		number("lower_per_1000", func(u row) float64 { return u.LowerPer1000 }),
		number("upper_per_1000", func(u row) float64 { return u.UpperPer1000 }),
		{Name: "crude_rank", Value: func(u row) any { return u.CrudeRank }},
		{Name: "expected_failures", Heading: "EXPECTED", Value: func(u row) any { return u.Expected }, Text: func(u row) string { return threeDigits(u.Expected) }},
		{Name: "ratio", Heading: "RATIO", Value: func(u row) any { return pointed(u.Ratio) }, Text: func(u row) string { return ratioOrDash(u.Ratio) }},
		{Heading: "0" + strings.Repeat(" ", funnelWidth-1-len(right)) + right, Text: func(u row) string { return funnelLine(u, axis) }},
		maybe("ratio_lower", func(u row) *float64 { return u.RatioLower }),
		maybe("ratio_upper", func(u row) *float64 { return u.RatioUpper }),
		{Name: "standardised_rank", Value: func(u row) any {
			if u.StandardisedRank == 0 {
				return nil
			}
			return u.StandardisedRank
		}},
		{Name: "band", Value: func(u row) any { return u.Band.String() }},
	}
	columns = append(columns, limits("two_sigma", func(u row) *stats.Interval { return u.TwoSigma })...)
	columns = append(columns, limits("three_sigma", func(u row) *stats.Interval { return u.ThreeSigma })...)
	return append(columns, shrunkColumns(maybe, number)...)
}

func ratioOrDash(v *float64) string {
	if v == nil {
		return "-"
	}
	return ratioText(*v)
}

// shrunkColumns are what is believed of a unit in the light of the others.
func shrunkColumns(maybe func(string, func(analysis.StandingUnit) *float64) output.Column[analysis.StandingUnit],
	number func(string, func(analysis.StandingUnit) float64) output.Column[analysis.StandingUnit]) []output.Column[analysis.StandingUnit] {
	type row = analysis.StandingUnit
	rank := func(name string, value func(row) int) output.Column[row] {
		return output.Column[row]{Name: name, Value: func(u row) any {
			if u.RankMean == nil {
				return nil
			}
			return value(u)
		}}
	}
	return []output.Column[row]{
		maybe("p_value", func(u row) *float64 { return u.PValue }),
		maybe("p_adjusted", func(u row) *float64 { return u.PAdjusted }),
		maybe("shrunk_ratio", func(u row) *float64 { return u.ShrunkRatio }),
		maybe("shrunk_ratio_lower", func(u row) *float64 { return u.ShrunkLower }),
		maybe("shrunk_ratio_upper", func(u row) *float64 { return u.ShrunkUpper }),
		maybe("above_ratio_limit", func(u row) *float64 { return u.AboveRatioLimit }),
		number("shrunk_rate_per_1000", func(u row) float64 { return u.ShrunkPer1000 }),
		number("shrunk_rate_lower_per_1000", func(u row) float64 { return u.ShrunkLowerPer1000 }),
		number("shrunk_rate_upper_per_1000", func(u row) float64 { return u.ShrunkUpperPer1000 }),
		maybe("above_rate_limit", func(u row) *float64 { return u.AbovePer1000 }),
		maybe("rank_mean", func(u row) *float64 { return u.RankMean }),
		rank("rank_lower", func(u row) int { return u.RankLower }),
		rank("rank_upper", func(u row) int { return u.RankUpper }),
		{Heading: "RANK", Text: func(u row) string {
			if u.RankMean == nil {
				return "-"
			}
			return fmt.Sprintf("%d to %d", u.RankLower, u.RankUpper)
		}},
		{Name: "sentence", Value: func(u row) any { return text(u.Sentence) }},
	}
}

func (a *app) tellStanding(s *standingShown) error {
	words := analysisWords{headline: s.Headlines, method: s.Method, assumption: s.Assumption, cautions: s.Cautions}
	if err := a.lead(words.headline); err != nil {
		return err
	}
	columns := standingColumns(strings.ReplaceAll(analysis.Groupings.Name(s.grouping), "-", " "), funnelTop(s.Units))
	if s.limitPer1000 > 0 {
		columns = append(columns, output.Column[analysis.StandingUnit]{Heading: "P ABOVE " + rounded(s.limitPer1000, 3), Text: func(u analysis.StandingUnit) string { return probabilityText(u.AbovePer1000) }})
	} else {
		columns = append(columns, output.Column[analysis.StandingUnit]{Heading: "P ABOVE " + rounded(s.ratioLimit, 3), Text: func(u analysis.StandingUnit) string { return probabilityText(u.AboveRatioLimit) }})
	}
	w, err := output.New(a.config(), "units", columns)
	if err != nil {
		return err
	}
	for _, u := range s.Units {
		if err := w.Row(u); err != nil {
			return err
		}
	}
	return w.Close(append(s.notes(a.headlineNote(words)), words.closing()...)...)
}

// probabilityText keeps a probability from reading as certain.
func probabilityText(p *float64) string {
	switch {
	case p == nil:
		return "-"
	case *p > 0.999:
		return ">0.999"
	case *p < 0.001:
		return "<0.001"
	}
	return strconv.FormatFloat(*p, 'f', 3, 64)
}

// standingNotes are the names of the notes, besides those of every analysis.
var standingNotes = []string{"headline", "grouping", "mix", "confidence", "failures", "attempts", "rate_per_1000", "lower_per_1000",
	"upper_per_1000", "over_dispersion", "ratio_shrinkage", "rate_shrinkage", "ratio_limit", "limit_per_1000"}

func (s *standingShown) notes(headline output.Note) []output.Note {
	var sentences []string
	for _, u := range s.Units {
		if u.Sentence != "" {
			sentences = append(sentences, u.Sentence)
		}
	}
	notes := []output.Note{
		headline,
		{Text: sentences},
		{Key: "grouping", Value: analysis.Groupings.Name(s.grouping)},
		{Key: "mix", Value: groupingWords(s.mix)},
		{Key: "confidence", Value: s.confidence},
		{Key: "failures", Value: s.Failures}, {Key: "attempts", Value: s.Attempts},
		{Key: "rate_per_1000", Value: pointed(s.RatePer1000)}, {Key: "lower_per_1000", Value: pointed(s.LowerPer1000)}, {Key: "upper_per_1000", Value: pointed(s.UpperPer1000)},
	}
	if s.RatePer1000 != nil {
		notes = append(notes, output.Note{Text: []string{fmt.Sprintf("total: %d of %d, %s per 1000 (%s to %s)", s.Failures, s.Attempts,
			threeDigits(*s.RatePer1000), threeDigits(*s.LowerPer1000), threeDigits(*s.UpperPer1000))}})
	}
	var dispersion []string
	if s.OverDispersion != nil {
		dispersion = []string{"over-dispersion: " + threeDigits(*s.OverDispersion)}
		if *s.OverDispersion <= 1 {
			dispersion[0] += ", no more than chance makes it"
		}
	}
	var limit any
	if s.limitPer1000 > 0 {
		limit = s.limitPer1000
	}
	return append(notes,
		output.Note{Key: "over_dispersion", Value: pointed(s.OverDispersion), Text: dispersion},
		output.Note{Key: "ratio_shrinkage", Value: s.RatioShrinkage.String()},
		output.Note{Key: "rate_shrinkage", Value: s.RateShrinkage.String()},
		output.Note{Key: "ratio_limit", Value: s.ratioLimit},
		output.Note{Key: "limit_per_1000", Value: limit})
}
