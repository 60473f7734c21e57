package cli

import (
	"fmt"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/stats"
)

// analysisWords is what every analysis says besides its figures.
type analysisWords struct {
	// headline is what a reader wants to know first, a sentence or paragraph each.
	headline           []string
	method, assumption string
	cautions           []string
}

// lead writes the headline, and what is drawn, above a table.
func (a *app) lead(headline []string, drawn ...string) error {
	if a.format != output.Table {
		return nil
	}
	for _, line := range headline {
		if _, err := fmt.Fprintln(a.out, output.Wrap(output.Printable(line))); err != nil {
			return err
		}
	}
	if len(drawn) > 0 {
		if _, err := fmt.Fprintln(a.out); err != nil {
			return err
		}
	}
	for _, line := range drawn {
		if _, err := fmt.Fprintln(a.out, output.Printable(line)); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintln(a.out)
	return err
}

// headlineNote is the headline for programs, and for the side of a CSV.
func (a *app) headlineNote(w analysisWords) output.Note {
	n := output.Note{Key: "headline", Value: strings.Join(w.headline, " ")}
	if a.format == output.CSV {
		n.Text = w.headline
	}
	return n
}

// closing are the notes that end every analysis.
func (w analysisWords) closing() []output.Note {
	if w.cautions == nil {
		w.cautions = []string{}
	}
	return []output.Note{
		{Key: "method", Value: w.method, Text: given("method: ", ended(w.method))},
		{Key: "assumption", Value: w.assumption, Text: given("assumed: ", w.assumption)},
		cautionNote(w.cautions),
	}
}

// ended ends a sentence that does not end yet.
func ended(sentence string) string {
	if sentence == "" || strings.HasSuffix(sentence, ".") {
		return sentence
	}
	return sentence + "."
}

// analysisNotes are the names of the notes that end every analysis.
var analysisNotes = []string{"method", "assumption", "cautions"}

// chiSquareObject is a test for programs.
func chiSquareObject(t stats.ChiSquareTest) output.Object {
	return output.Object{{Key: "statistic", Value: t.Statistic}, {Key: "degrees_of_freedom", Value: t.DegreesOfFreedom}, {Key: "p_value", Value: t.P}}
}

// chiSquareText is a test for a person.
func chiSquareText(t stats.ChiSquareTest) string {
	return fmt.Sprintf("%s on %d d.f., p %s", threeDigits(t.Statistic), t.DegreesOfFreedom, pText(t.P))
}

// groupingWords are the words of groupings.
func groupingWords(by []analysis.Grouping) []string {
	words := make([]string, len(by))
	for i, g := range by {
		words[i] = analysis.Groupings.Name(g)
	}
	return words
}

// rangeText writes the limits of an interval for a person.
func rangeText(write func(float64) string, lower, upper *float64) string {
	switch {
	case lower == nil && upper == nil:
		return "-"
	case upper == nil:
		return "from " + write(*lower)
	case lower == nil:
		return "up to " + write(*upper)
	}
	return write(*lower) + " to " + write(*upper)
}
