package cli

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) custodyCommand() *cobra.Command {
	var entry entryOptions
	record := &pb.CustodyChange{}
	cmd := a.command("custody KIND SERIAL", "Record that a tool changed hands, or that something befell it",
		"KIND is issued, returned, sent, received, lost, dropped, overloaded or repaired. A\n"+
			"tool that is issued needs --holder. What was dropped, overloaded or repaired must\n"+
			"be checked before further use.")
	cmd.Example = "  trackctl custody issued TW-RVB-03 --site rvb --holder ab\n  trackctl custody dropped TW-RVB-03 --site rvb --note \"from the deck\""
	completeFirst(cmd, ledger.CustodyKinds.All())
	f := newFields(cmd)
	custodyFields(f, record)
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		kind, err := ledger.CustodyKinds.Parse(args[0])
		if err != nil {
			return usage("KIND: %v", err)
		}
		tool, err := resourceArg(args[1], "tools")
		if err != nil {
			return err
		}
		if err := f.require("site"); err != nil {
			return err
		}
		if kind == ledger.CustodyIssued {
			if err := f.require("holder"); err != nil {
				return err
			}
		}
		id, e, err := a.entry(&entry, false)
		if err != nil {
			return err
		}
		record.Name, record.Kind, record.Tool, record.Entry = "custodyChanges/"+id, pb.CustodyKind(kind), tool, e
		names := f.names()
		names["kind"], names["tool"] = "KIND", "SERIAL"
		holder := ""
		if record.GetHolder() != "" {
			holder = "held by " + ledger.ShortName(record.GetHolder())
		}
		summary := sentence("tool "+ledger.ShortName(tool)+" "+ledger.CustodyKinds.Name(kind), ledger.ShortName(record.GetSite()), holder)
		s := sent{kind: ledger.KindCustody, id: id, summary: summary, names: names}
		return a.sendRecord(ctx, s, &entry, func(ctx context.Context, conn *grpc.ClientConn) ([]*pb.Outcome, error) {
			return outcomesOf(pb.NewControlServiceClient(conn).RecordCustodyChanges(ctx, &pb.RecordCustodyChangesRequest{CustodyChanges: []*pb.CustodyChange{record}}))
		})
	})
}

// custodyFields binds the flags of what a change of custody tells besides its kind
// and tool.
func custodyFields(f *fields, record *pb.CustodyChange) {
	f.site(&record.Site, "site", "site", "the site where it happened")
	f.resource(&record.Holder, "people", "holder", "holder", "PERSON", "who holds it from then on")
}

func custodyColumns() []output.Column[*pb.CustodyChange] {
	type change = *pb.CustodyChange
	columns := idColumns[change]()
	columns = append(columns, []output.Column[change]{
		{Name: "serial", Heading: "SERIAL", Value: func(c change) any { return ledger.ShortName(c.GetTool()) }},
		{Name: "kind", Heading: "KIND", Value: func(c change) any { return text(wordOf(ledger.CustodyKinds, c.GetKind())) }},
		{Name: "site", Heading: "SITE", Value: func(c change) any { return ledger.ShortName(c.GetSite()) }},
		{Name: "holder", Heading: "HOLDER", Value: func(c change) any { return text(ledger.ShortName(c.GetHolder())) }},
		{Name: "override_by", Value: func(c change) any { return text(ledger.ShortName(c.GetOverrideBy())) }},
		{Name: "override_reason", Value: func(c change) any { return text(c.GetOverrideReason()) }},
	}...)
	return append(columns, entryColumns[change]()...)
}
