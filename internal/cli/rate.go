package cli

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/nearest"
	pb "jointledger/proto/jointledger/v1"
)

// groupings are the words for what a rate is taken by; each is the word of the
// value of pb.Grouping at its place, from 1.
var groupings = []string{"site", "region", "lot", "supplier", "treatment", "material", "thread", "driving-method", "person", "tool", "month", "week", "day"}

// intervals are the words of pb.IntervalMethod, from 1.
var intervals = []string{"wilson", "clopper-pearson", "jeffreys"}

const rateHelp = `Attempts are the fasteners tightened in a first pass and those lost to a thread
failure; failures are the fasteners in incidents of the kinds asked for, all
thread failures when none is named. The interval is Wilson's (1927) unless another
is asked for. p is Fisher's exact test of the group against all others, adjusted
over the groups as Benjamini and Hochberg (1995) have it.`

func (a *app) rateCommand() *cobra.Command {
	request := &pb.QueryRatesRequest{}
	cmd := a.command("rate", "Rate of incidents per fastener attempt", rateHelp)
	cmd.Example = "  trackctl rate --kind galling --by lot,treatment\n  trackctl rate --kind galling,seized --by site --from 2026-03-01 --interval jeffreys"
	f := newFields(cmd)
	f.words("kind", "kinds", "kinds of incident that count, parted by commas", ledger.IncidentKinds.All(), func(word string) error {
		kind, err := ledger.IncidentKinds.Parse(word)
		if err == nil && !slices.Contains(request.Kinds, pb.IncidentKind(kind)) {
			request.Kinds = append(request.Kinds, pb.IncidentKind(kind))
		}
		return err
	})
	f.words("by", "group_by", "groupings, parted by commas", groupings, func(word string) error {
		i, err := chosen("grouping", groupings, word)
		if err == nil && !slices.Contains(request.GroupBy, pb.Grouping(i)) {
			request.GroupBy = append(request.GroupBy, pb.Grouping(i))
		}
		return err
	})
	for i, name := range groupings {
		if name == "person" || name == "month" || name == "week" || name == "day" {
			continue // a person is chosen with --by person, a period with --from and --to
		}
		f.bind(name, "filters", "VALUE", "only this "+strings.ReplaceAll(name, "-", " ")+"; again for another", filterInto(request, pb.Grouping(i+1)))
	}
	f.day(&request.StartDate, "from", "start_date", "first day that counts, at the site")
	f.day(&request.EndDate, "to", "end_date", "last day that counts, at the site")
	f.words("interval", "interval_method", "method of the interval", intervals, func(word string) error {
		i, err := chosen("interval", intervals, word)
		request.IntervalMethod = pb.IntervalMethod(i)
		return err
	})
	f.number(&request.Confidence, "confidence", "confidence", "two-sided confidence, above 0.5 and below 1; 0.95 when not given")
	return a.runs(cmd, func(ctx context.Context, _ []string) error { return a.rate(ctx, f, request) })
}

// filterInto adds a filter: sites in capitals and words of the trade as they are
// spelt, whatever was typed.
func filterInto(request *pb.QueryRatesRequest, by pb.Grouping) func(string) error {
	return func(typed string) error {
		value, err := filterValue(by, typed)
		if err == nil {
			request.Filters = append(request.Filters, &pb.GroupValue{Grouping: by, Value: value})
		}
		return err
	}
}

func filterValue(by pb.Grouping, typed string) (string, error) {
	switch by {
	case pb.Grouping_GROUPING_SITE:
		place, err := placeArg(typed, 1)
		return place.Site, err
	case pb.Grouping_GROUPING_TREATMENT:
		return wordAsSpelt(ledger.Treatments, typed)
	case pb.Grouping_GROUPING_MATERIAL:
		return wordAsSpelt(ledger.Materials, typed)
	case pb.Grouping_GROUPING_DRIVING_METHOD:
		return wordAsSpelt(ledger.DrivingMethods, typed)
	case pb.Grouping_GROUPING_LOT, pb.Grouping_GROUPING_TOOL:
		return unlabel(typed)
	default: // the others go on below
	}
	return typed, nil
}

func wordAsSpelt[T ~uint8](words ledger.Words[T], typed string) (string, error) {
	v, err := words.Parse(typed)
	return words.Name(v), err
}

// words makes a flag of one or more words, parted by commas or given again.
func (f *fields) words(name, path, help string, all []string, add func(string) error) {
	f.bind(name, path, "WORD", help+": "+strings.Join(all, ", "), func(text string) error {
		for _, word := range strings.Split(text, ",") {
			if err := add(strings.TrimSpace(word)); err != nil {
				return err
			}
		}
		return nil
	})
	mustComplete(f.cmd, name, all)
}

// chosen finds a word in a list and gives its place, from 1.
func chosen(what string, all []string, typed string) (int, error) {
	word := strings.ToLower(strings.ReplaceAll(typed, "_", "-"))
	if i := slices.Index(all, word); i >= 0 {
		return i + 1, nil
	}
	hint := ""
	if n, ok := nearest.Name(word, all); ok {
		hint = fmt.Sprintf(" (did you mean %s?)", n)
	}
	return 0, fmt.Errorf("%q is not a %s%s; expected one of %s", typed, what, hint, strings.Join(all, ", "))
}

// day makes a flag for a date.
func (f *fields) day(dst *string, name, path, help string) {
	f.bind(name, path, "DATE", help+", YYYY-MM-DD", func(text string) error {
		if _, err := time.Parse(time.DateOnly, text); err != nil {
			return fmt.Errorf("expected a date YYYY-MM-DD, got %s", csvfile.Quote(text))
		}
		*dst = text
		return nil
	})
}

func (a *app) rate(ctx context.Context, f *fields, request *pb.QueryRatesRequest) error {
	conn, err := a.dial()
	if err != nil {
		return err
	}
	got, err := pb.NewAnalysisServiceClient(conn).QueryRates(ctx, request)
	if err != nil {
		return a.callFailure(err, f.names())
	}
	return a.tellRates(got, request.GetGroupBy(), request.GetConfidence())
}

func (a *app) tellRates(got *pb.QueryRatesResponse, by []pb.Grouping, confidence float64) error {
	if confidence == 0 {
		confidence = 0.95
	}
	columns := rateColumns(by, confidence)
	w, err := output.New(a.config(), "groups", columns)
	if err != nil {
		return err
	}
	for _, g := range got.GetGroups() {
		if err := w.Row(g); err != nil {
			return err
		}
	}
	return w.Close(rateNotes(got, confidence)...)
}

func rateNotes(got *pb.QueryRatesResponse, confidence float64) []output.Note {
	t := got.GetTotal()
	if t == nil {
		t = &pb.RateGroup{}
	}
	total := output.Object{}
	for _, c := range rateColumns(nil, confidence) {
		if c.Name != "" {
			total = append(total, output.Member{Key: c.Name, Value: c.Value(t)})
		}
	}
	sum := fmt.Sprintf("total: %d of %d", t.GetFailures(), t.GetAttempts())
	if t.RatePer_1000 != nil {
		sum += fmt.Sprintf(", %s per 1000 (%s)", perThousandText(t.GetRatePer_1000()), intervalText(t))
	}
	notes := []output.Note{
		{Key: "total", Value: total, Text: []string{sum}},
		{Key: "method", Value: got.GetMethod(), Text: given("method: ", got.GetMethod())},
		{Key: "assumption", Value: got.GetAssumption(), Text: given("assumed: ", got.GetAssumption())},
	}
	return append(notes, cautionNote(got.GetCautions()))
}

func given(label, sentence string) []string {
	if sentence == "" {
		return nil
	}
	return []string{label + sentence}
}

// cautionNote are the cautions of an answer.
func cautionNote(cautions []string) output.Note {
	n := output.Note{Key: "cautions", Value: cautions}
	for _, c := range cautions {
		n.Text = append(n.Text, "caution: "+c)
	}
	return n
}

func rateColumns(by []pb.Grouping, confidence float64) []output.Column[*pb.RateGroup] {
	type group = *pb.RateGroup
	var columns []output.Column[group]
	for _, b := range by {
		word := groupings[b-1]
		value := func(g group) any {
			for _, v := range g.GetValues() {
				if v.GetGrouping() == b {
					return text(v.GetValue())
				}
			}
			return nil
		}
		columns = append(columns, output.Column[group]{
			Name: strings.ReplaceAll(word, "-", "_"), Heading: strings.ToUpper(strings.ReplaceAll(word, "-", " ")), Value: value,
			Text: func(g group) string {
				if v, ok := value(g).(string); ok {
					return v
				}
				return "(none)"
			},
		})
	}
	return append(columns, []output.Column[group]{
		{Name: "failures", Heading: "FAILURES", Value: func(g group) any { return g.GetFailures() }},
		{Name: "attempts", Heading: "ATTEMPTS", Value: func(g group) any { return g.GetAttempts() }, Text: func(g group) string {
			if !g.GetDenominatorKnown() {
				return "not known"
			}
			return strconv.FormatInt(g.GetAttempts(), 10)
		}},
		{Name: "rate_per_1000", Heading: "PER 1000", Value: func(g group) any { return pointed(g.RatePer_1000) }, Text: func(g group) string {
			if g.RatePer_1000 == nil {
				return "-"
			}
			return perThousandText(g.GetRatePer_1000())
		}},
		{Heading: percentText(confidence) + " INTERVAL", Text: intervalText},
		{Name: "lower_per_1000", Value: func(g group) any { return pointed(g.LowerPer_1000) }},
		{Name: "upper_per_1000", Value: func(g group) any { return pointed(g.UpperPer_1000) }},
		{Name: "p_value", Value: func(g group) any { return pointed(g.PValue) }},
		{Name: "p_adjusted", Heading: "ADJUSTED p", Value: func(g group) any { return pointed(g.PAdjusted) }, Text: func(g group) string {
			if g.PAdjusted == nil {
				return "-"
			}
			return pText(g.GetPAdjusted())
		}},
		{Name: "denominator_known", Value: func(g group) any { return g.GetDenominatorKnown() }},
	}...)
}

func percentText(confidence float64) string { return rounded(100*confidence, 2) + " %" }

func intervalText(g *pb.RateGroup) string {
	if g.LowerPer_1000 == nil || g.UpperPer_1000 == nil {
		return "-"
	}
	return perThousandText(g.GetLowerPer_1000()) + " to " + perThousandText(g.GetUpperPer_1000())
}

// perThousandText writes a rate with two digits after the point; one that is not 0 is
// never written as 0.
func perThousandText(v float64) string {
	if v > 0 && v < 0.1 {
		return threeDigits(v)
	}
	return strconv.FormatFloat(v, 'f', 2, 64)
}

// pointed is an optional number as the value of a column.
func pointed(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}
