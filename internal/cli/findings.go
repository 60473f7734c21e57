package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) findingsCommand() *cobra.Command {
	var limit int
	var count bool
	request := &pb.ListFindingsRequest{}
	cmd := a.command("findings [PLACE]", "Rules of the trade that records break",
		"PLACE is a site, tower, cell or joint. "+everyPlaceHelp+"\nRecords that were corrected are left out.")
	cmd.Example = "  trackctl findings rvb/ct2 --severity hold\n  trackctl findings / --count"
	limitFlag(cmd, &limit)
	f := newFields(cmd)
	f.bind("rule", "rule", "RULE", "only of this rule, such as torque-window", func(text string) error {
		i, err := chosen("rule", ruleCodes(), text)
		if err == nil {
			request.Rule = ruleCodes()[i-1]
		}
		return err
	})
	mustComplete(cmd, "rule", ruleCodes())
	wordField(f, &request.Severity, rules.Severities, "severity", "severity", "only of this severity")
	cmd.Flags().BoolVar(&count, "count", false, "only how many there are of each rule")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		place, err := a.placeAskedOrAll(args, 1, 2, 3, 4)
		if err != nil {
			return err
		}
		if place.Depth() > 0 {
			request.Place = place.Resource()
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewProgressServiceClient(conn)
		if count {
			return a.countFindings(ctx, client, request)
		}
		read := func(size int32, token string) ([]*pb.RecordFinding, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListFindings(ctx, request)
			return page.GetFindings(), page.GetNextPageToken(), err
		}
		if a.format == output.Table {
			return a.tellFindings(limit, read)
		}
		return list(a, limit, "findings", recordFindingColumns(), read)
	})
}

// tellFindings shows findings as they are shown when a record is made: a sentence
// each, which no table has room for.
func (a *app) tellFindings(limit int, read fetch[*pb.RecordFinding]) error {
	if limit < 0 {
		return usage("--limit: expected a number of at least 0, got %d", limit)
	}
	n := 0
	err := pages(limit, read, func(f *pb.RecordFinding) error {
		n++
		head := sentence(ledger.ShortName(f.GetJoint()), output.Moment(f.GetOccurTime().AsTime()), ledger.ShortName(f.GetPerson()), f.GetRecord())
		_, err := fmt.Fprintf(a.out, "%s\n%s\n", output.Printable(head), output.Wrap("  "+output.Printable(findingLine(f.GetFinding()))))
		return err
	})
	if err == nil && n == 0 {
		_, err = fmt.Fprintln(a.err, "there are no findings to show")
	}
	return err
}

func (a *app) countFindings(ctx context.Context, client pb.ProgressServiceClient, request *pb.ListFindingsRequest) error {
	return list(a, 0, "counts", findingCountColumns(), func(int32, string) ([]findingCount, string, error) {
		got, err := client.CountFindings(ctx, &pb.CountFindingsRequest{Place: request.GetPlace()})
		var counts []findingCount
		for _, c := range got.GetCounts() {
			if (request.GetRule() == "" || request.GetRule() == c.GetRule()) && (request.GetSeverity() == 0 || request.GetSeverity() == c.GetSeverity()) {
				counts = append(counts, findingCount{c.GetRule(), c.GetSeverity(), c.GetFindings()})
			}
		}
		return counts, "", err
	})
}

func recordFindingColumns() []output.Column[*pb.RecordFinding] {
	type found = *pb.RecordFinding
	columns := []output.Column[found]{
		{Name: "record", Value: func(f found) any { return f.GetRecord() }},
		{Name: "joint", Value: func(f found) any { return text(ledger.ShortName(f.GetJoint())) }},
		{Name: "at", Value: func(f found) any { return when(f.GetOccurTime()) }},
		{Name: "person", Value: func(f found) any { return text(ledger.ShortName(f.GetPerson())) }},
	}
	for _, c := range findingColumns() {
		columns = append(columns, output.Column[found]{Name: c.Name, Value: func(f found) any { return c.Value(f.GetFinding()) }})
	}
	return columns
}
