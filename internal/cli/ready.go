package cli

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// momentOf makes the flag of the questions that look from a moment.
func momentOf(f *fields) *time.Time {
	asOf := &time.Time{}
	f.asOf(asOf)
	return asOf
}

func (a *app) readyCommand() *cobra.Command {
	request := &pb.QueryReadinessRequest{}
	file, strict := "", false
	cmd := a.command("ready [PLACE]", "Whether the tools at a place fill a kit list through the finish",
		"PLACE is a site, tower or cell. A tool counts when it lies in the crib of the site,\n"+
			"has no hold, is in date through the end of the finish day, and has the range or the\n"+
			"rated load that its line asks for; no tool fills two lines. The answer is yes or no,\n"+
			"and the exit code is 0 for both; with --strict it is 1 for no.\n\n"+kitFormat)
	cmd.Example = "  trackctl ready rvb/ct2 --kit testdata/kit/tower.csv\n  trackctl ready rvb --kit kit.csv --finish 2026-06-30 --strict"
	f := newFields(cmd)
	f.bind("kit", "kit", "FILE", "the kit list, - for standard input", func(text string) error { file = text; return nil })
	f.day(&request.FinishDate, "finish", "finish_date", "the last day on which the tools are needed; the planned finish of the tower, of a site the last of its towers', when not given")
	asOf := momentOf(f)
	cmd.Flags().BoolVar(&strict, "strict", false, "exit with 1 when it is not ready")
	if err := cmd.MarkFlagFilename("kit", "csv"); err != nil {
		panic(err) // the flag is made above
	}
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		place, err := a.placeAsked(args, 1, 2, 3)
		if err != nil {
			return err
		}
		if err := f.require("kit"); err != nil {
			return err
		}
		kit, err := readKit(file, a.in)
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		request.Place, request.Kit, request.AsOfTime = place.Resource(), kit.lines, stamp(*asOf)
		got, err := pb.NewReadinessServiceClient(conn).QueryReadiness(ctx, request)
		if err != nil {
			return kit.refused(a, err, f.names())
		}
		if err := a.tellReady(place, got); err != nil {
			return err
		}
		if strict && !got.GetReady() {
			return &failure{code: exitNotComplete}
		}
		return nil
	})
}

func (a *app) tellReady(place ledger.Place, got *pb.QueryReadinessResponse) error {
	verdict := got.GetVerdict()
	if got.GetFinishPlanned() {
		verdict += " The finish is the planned one."
	}
	notes := []output.Note{
		{Text: refusedLines(got)},
		{Key: "place", Value: place.String()},
		{Key: "ready", Value: got.GetReady(), Text: []string{verdict}},
		{Key: "verdict", Value: got.GetVerdict()},
		{Key: "finish_date", Value: got.GetFinishDate()},
		{Key: "finish_planned", Value: got.GetFinishPlanned()},
		{Key: "as_of", Value: when(got.GetAsOfTime())},
		{Key: "method", Value: got.GetMethod()},
		{Key: "assumption", Value: got.GetAssumption(), Text: given("assumed: ", got.GetAssumption())},
		cautionNote(got.GetCautions()),
	}
	return told(a, "lines", kitAnswerColumns(), got.GetLines(), notes)
}

// refusedLines say in words what is missing, line by line, and which tools of the
// kind do not count; nothing of lines that are filled.
func refusedLines(got *pb.QueryReadinessResponse) []string {
	var lines []string
	for _, l := range got.GetLines() {
		if l.GetShort() > 0 {
			lines = append(lines, "SHORT  "+l.GetSentence())
		}
	}
	return lines
}

func kitAnswerColumns() []output.Column[*pb.KitLineAnswer] {
	type line = *pb.KitLineAnswer
	return []output.Column[line]{
		{Name: "kind", Heading: "KIND", Value: func(l line) any { return text(wordOf(ledger.ToolKinds, l.GetLine().GetKind())) }},
		{Name: "min_n_m", Value: func(l line) any { return figure(l.GetLine().GetLowestNewtonMetres()) }},
		{Name: "max_n_m", Value: func(l line) any { return figure(l.GetLine().GetHighestNewtonMetres()) }},
		{Name: "load_kg", Value: func(l line) any { return figure(l.GetLine().GetLoadKilograms()) }},
		{Heading: "FOR", Text: func(l line) string { return needText(l.GetLine()) }},
		{Name: "need", Heading: "NEED", Value: func(l line) any { return l.GetLine().GetQuantity() }},
		{Name: "have", Heading: "HAVE", Value: func(l line) any { return l.GetHave() }},
		{Name: "short", Heading: "SHORT", Value: func(l line) any { return l.GetShort() }},
		{Name: "serials", Heading: "TOOLS", Value: func(l line) any { return shortNames(l.GetTools()) }, Text: func(l line) string { return strings.Join(shortNames(l.GetTools()), ", ") }},
		{Name: "note", Heading: "NOTE", Value: func(l line) any { return text(l.GetLine().GetNote()) }},
		{Name: "refused", Value: func(l line) any { return refusalObjects(l.GetRefused()) }},
		{Name: "sentence", Value: func(l line) any { return text(l.GetSentence()) }},
	}
}

// needText is what a line asks of each tool.
func needText(l *pb.KitLine) string {
	var needs []string
	if high := l.GetHighestNewtonMetres(); high > 0 {
		need := output.Number(high) + " N.m"
		if low := l.GetLowestNewtonMetres(); low != high {
			need = output.Number(low) + " to " + need
		}
		needs = append(needs, need)
	}
	if load := l.GetLoadKilograms(); load > 0 {
		needs = append(needs, fmt.Sprintf("%s kg", output.Number(load)))
	}
	return strings.Join(needs, ", ")
}
