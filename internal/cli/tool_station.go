package cli

import (
	"context"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func parseID(id string) (uuid.UUID, error) { return uuid.Parse(id) }

// befell makes the command for one kind of change of custody that needs no more
// than the tool: where it is and who has it are looked up when not given.
func (a *app) befell(kind ledger.CustodyKind, short, long string) *cobra.Command {
	var entry entryOptions
	record := &pb.CustodyChange{Kind: pb.CustodyKind(kind)}
	word := ledger.CustodyKinds.Name(kind)
	cmd := a.command(word+" SERIAL", short, long)
	cmd.Example = "  trackctl tool " + word + " TW-RVB-03"
	f := newFields(cmd)
	f.site(&record.Site, "site", "site", "the site where it happened; where the tool is when not given")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		return a.changeCustody(ctx, args[0], record, &entry, f, word)
	})
}

func (a *app) toolLost() *cobra.Command {
	return a.befell(ledger.CustodyLost, "Record that a tool is lost", "Nobody can lend it any more until it was received or taken back.")
}

func (a *app) toolDropped() *cobra.Command {
	return a.befell(ledger.CustodyDropped, "Record that a tool was dropped",
		"Whoever has it keeps it; it is due at once where its policies say so, and must not\nbe used until it was proved.")
}

func (a *app) toolOverloaded() *cobra.Command {
	return a.befell(ledger.CustodyOverloaded, "Record that a tool was overloaded",
		"Whoever has it keeps it; it is due at once where its policies say so, and must not\nbe used until it was proved.")
}

func (a *app) toolRepaired() *cobra.Command {
	return a.befell(ledger.CustodyRepaired, "Record that a tool was repaired", "It is in the crib then, and due at once where its policies say so.")
}

func (a *app) toolSend() *cobra.Command {
	var entry entryOptions
	var to string
	record := &pb.CustodyChange{Kind: pb.CustodyKind_CUSTODY_KIND_SENT}
	cmd := a.command("send SERIAL", "Send a tool off to another site",
		"It is in transit until that site records trackctl tool receive. Where it goes is\n"+
			"kept in the note. A tool that is lent, lost, on its way already, elsewhere or at that\n"+
			"site already is refused with every reason (exit 65); what was sent on paper is kept\n"+
			"with trackctl custody sent, which refuses nothing.")
	cmd.Example = "  trackctl tool send TW-RVB-03 --to-site pcl"
	f := newFields(cmd)
	f.site(&to, "to-site", "to_site", "the site that it is sent to")
	f.site(&record.Site, "site", "site", "the site that it leaves; where the tool is when not given")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if err := f.require("to-site"); err != nil {
			return err
		}
		return a.sendTool(ctx, args[0], to, record, &entry, f)
	})
}

func (a *app) toolReceive() *cobra.Command {
	var entry entryOptions
	record := &pb.CustodyChange{Kind: pb.CustodyKind_CUSTODY_KIND_RECEIVED}
	cmd := a.command("receive SERIAL", "Take in a tool that came from another site or from the laboratory", "It is in the crib of the site then.")
	cmd.Example = "  trackctl tool receive TW-RVB-03 --site pcl"
	f := newFields(cmd)
	f.site(&record.Site, "site", "site", "the site that it came to; that of the current place when not given")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		if err := a.siteHere(f, &record.Site); err != nil {
			return err
		}
		return a.changeCustody(ctx, args[0], record, &entry, f, "received")
	})
}

// changeCustody keeps one change of custody that nothing can refuse, after looking up
// where the tool is and who has it where that was not given.
func (a *app) changeCustody(ctx context.Context, arg string, record *pb.CustodyChange, entry *entryOptions, f *fields, what string) error {
	if err := a.custodyOf(ctx, arg, record, entry); err != nil {
		return err
	}
	return a.sendRecord(ctx, sentCustody(record, f, what), entry, record)
}

// custodyOf completes a change of custody: its name, its tool, and where that is when
// the site was not given.
func (a *app) custodyOf(ctx context.Context, arg string, record *pb.CustodyChange, entry *entryOptions) error {
	tool, err := resourceArg(arg, "tools")
	if err != nil {
		return err
	}
	id, e, err := a.entry(ctx, entry, false)
	if err != nil {
		return err
	}
	record.Name, record.Tool, record.Entry = "custodyChanges/"+id, tool, e
	if record.Site != "" {
		return nil
	}
	at, err := a.whereIs(ctx, tool, e)
	if err != nil {
		return err
	}
	record.Site = at.site
	if record.Kind == pb.CustodyKind_CUSTODY_KIND_DROPPED || record.Kind == pb.CustodyKind_CUSTODY_KIND_OVERLOADED {
		record.Holder = at.holder
	}
	return nil
}

func sentCustody(record *pb.CustodyChange, f *fields, what string) sent {
	names := f.names()
	names["tool"] = "SERIAL"
	return sent{kind: ledger.KindCustody, id: ledger.ShortName(record.GetName()), names: names,
		summary: sentence("tool "+ledger.ShortName(record.GetTool())+" "+what+" "+ledger.ShortName(record.GetSite()), heldBy(record))}
}

func heldBy(c *pb.CustodyChange) string {
	if c.GetHolder() == "" {
		return ""
	}
	return "held by " + ledger.ShortName(c.GetHolder())
}
