package cli

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) toolOut() *cobra.Command {
	var limit int
	var asOf time.Time
	var all bool
	request := &pb.ListToolWhereaboutsRequest{}
	cmd := a.command("out", "Who has which tool, and since when",
		"Tools that are lent, or with --all where every tool is: in the crib of a site, lent,\nin transit or lost; and what speaks against lending it.")
	cmd.Example = "  trackctl tool out --site rvb\n  trackctl tool out --holder ab\n  trackctl tool out --tool TW-RVB-03 --all"
	limitFlag(cmd, &limit)
	f := newFields(cmd)
	f.site(&request.Site, "site", "site", "only tools that belong to this site or are there")
	f.resource(&request.Holder, "people", "holder", "holder", "PERSON", "only what this person has")
	f.resource(&request.Tool, "tools", "tool", "tool", "SERIAL", "only this tool")
	f.boolean(&all, "all", "only_lent", "tools that nobody has too")
	f.asOf(&asOf)
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		request.OnlyLent, request.AsOfTime = !all, stamp(asOf)
		if asOf.IsZero() {
			// One moment for all pages.
			request.AsOfTime = stamp(a.now().Truncate(time.Microsecond))
		}
		client := pb.NewCribServiceClient(conn)
		return list(a, limit, "tools", whereaboutsColumns(), func(size int32, token string) ([]*pb.ToolWhereabouts, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListToolWhereabouts(ctx, request)
			if err != nil {
				return nil, "", a.callFailure(err, f.names())
			}
			return page.GetTools(), page.GetNextPageToken(), nil
		})
	})
}

func whereaboutsColumns() []output.Column[*pb.ToolWhereabouts] {
	type row = *pb.ToolWhereabouts
	return []output.Column[row]{
		{Name: "serial", Heading: "SERIAL", Value: func(w row) any { return ledger.ShortName(w.GetTool()) }},
		{Name: "kind", Heading: "KIND", Value: func(w row) any { return text(wordOf(ledger.ToolKinds, w.GetKind())) }},
		{Name: "home_site", Value: func(w row) any { return ledger.ShortName(w.GetHomeSite()) }},
		{Name: "station", Heading: "WHERE", Value: func(w row) any { return text(wordOf(analysis.ToolStations, w.GetStation())) }},
		{Name: "site", Heading: "SITE", Value: func(w row) any { return ledger.ShortName(w.GetSite()) }},
		{Name: "holder", Heading: "HOLDER", Value: func(w row) any { return text(ledger.ShortName(w.GetHolder())) }, Text: func(w row) string {
			return holderText(w.GetHolder(), w.GetHolderName())
		}},
		{Name: "holder_name", Value: func(w row) any { return text(w.GetHolderName()) }},
		{Name: "since", Heading: "SINCE", Value: func(w row) any { return when(w.GetSinceTime()) }},
		{Name: "last_change", Value: func(w row) any { return text(wordOf(ledger.CustodyKinds, w.GetLastChange())) }},
		{Name: "next_due_at", Heading: "NEXT DUE", Value: func(w row) any {
			if w.GetNextDueTime() == nil {
				return nil
			}
			return nextDue(w)
		}, Text: func(w row) string {
			if w.GetNextDueTime() == nil {
				return ""
			}
			return nextDue(w).Format(time.DateOnly)
		}},
		{Name: "next_due_action", Value: func(w row) any { return text(wordOf(ledger.PolicyActions, w.GetNextDueAction())) }},
		{Name: "refusals", Heading: "NOT TO LEND", Value: func(w row) any { return refusalDetails(w.GetRefusals()) }, Text: func(w row) string {
			return strings.Join(refusalDetails(w.GetRefusals()), "; ")
		}},
	}
}

func nextDue(w *pb.ToolWhereabouts) time.Time {
	return w.GetNextDueTime().AsTime().In(time.FixedZone("", int(w.GetNextDueUtcOffsetMinutes())*60))
}

// holderText is a person's id with the name beside it.
func holderText(person, name string) string {
	id := ledger.ShortName(person)
	if name == "" || name == id {
		return id
	}
	return id + " (" + name + ")"
}

func refusalDetails(refusals []*pb.ToolRefusal) []string {
	details := []string{}
	for _, r := range refusals {
		details = append(details, r.GetDetail())
	}
	return details
}
