package cli

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) custodyCommand() *cobra.Command {
	var entry entryOptions
	record := &pb.CustodyChange{}
	cmd := a.command("custody KIND SERIAL", "Record that a tool changed hands, or that something befell it",
		"KIND is issued, returned, sent, received, lost, dropped, overloaded or repaired. A\n"+
			"tool that is issued needs --holder. What was dropped, overloaded or repaired must\n"+
			"be checked before further use. It keeps what happened, on paper or without signal,\n"+
			"and refuses nothing; a tool that goes over the hatch now is lent with trackctl tool\n"+
			"lend, which refuses what is not fit unless somebody lets it pass with --override-by\n"+
			"and --because, and sent off with trackctl tool send.")
	cmd.Example = "  trackctl custody issued TW-RVB-03 --site rvb --holder ab\n  trackctl custody dropped TW-RVB-03 --site rvb --note \"from the deck\""
	completeFirst(cmd, ledger.CustodyKinds.All())
	f := newFields(cmd)
	custodyFields(f, record, ofCurrentPlace)
	overrideElsewhere(f)
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
		if err := a.siteHere(f, &record.Site); err != nil {
			return err
		}
		if kind == ledger.CustodyIssued {
			if err := f.require("holder"); err != nil {
				return err
			}
		}
		id, e, err := a.entry(ctx, &entry, false)
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
		s := sent{kind: ledger.KindCustody, id: id, summary: summary, names: names, after: unfitRemark}
		return a.sendRecord(ctx, s, &entry, record)
	})
}

// overrideElsewhere tells whoever types how a loan is let pass where that is done.
func overrideElsewhere(f *fields) {
	for _, name := range []string{"override-by", "because"} {
		f.bind(name, "", "TEXT", "refused: a loan is let pass with trackctl tool lend", func(string) error {
			return errors.New("only lending is let pass; expected trackctl tool lend SERIAL --to PERSON --site SITE --override-by PERSON --because TEXT")
		})
		f.cmd.Flags().Lookup(name).Hidden = true
	}
}

// unfitRemark says to whoever kept the loan of a tool that is not fit for it what a
// loan over the hatch takes.
func unfitRemark(findings []*pb.Finding) string {
	for _, f := range findings {
		if f.GetRule() == rules.CodeToolLentUnfit && f.GetSeverity() == pb.Severity_SEVERITY_WARN {
			return "Nobody let this loan pass. trackctl tool lend refuses such a tool, or keeps who lets it pass and why: --override-by PERSON --because TEXT."
		}
	}
	return ""
}

// custodyFields binds the flags of what a change of custody tells besides its kind
// and tool; otherSite says what holds where no site is given.
func custodyFields(f *fields, record *pb.CustodyChange, otherSite string) {
	f.site(&record.Site, "site", "site", "the site where it happened"+otherSite)
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
