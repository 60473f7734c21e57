package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/analysis"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) toolLend() *cobra.Command {
	var entry entryOptions
	record := &pb.CustodyChange{Kind: pb.CustodyKind_CUSTODY_KIND_ISSUED}
	cmd := a.command("lend SERIAL", "Lend a tool to somebody, when it is fit for it",
		"SERIAL may be the code of its label. A tool that is past due, failed, never proved,\n"+
			"on hold, lost, elsewhere or lent already is refused with every reason (exit 65).\n"+
			"Somebody with a role that may (crib, site lead, quality, regional manager,\n"+
			"administrator) can let it pass with --override-by and --because; both are kept. A\n"+
			"loan that was made on paper is kept with trackctl custody, which refuses nothing.\n"+
			"Lending does not stand for the check before use.")
	cmd.Example = "  trackctl tool lend TW-RVB-03 --to ab --site rvb\n  trackctl tool lend TW-RVB-03 --to ab --site rvb --override-by cd --because 'for marking out only'"
	f := newFields(cmd)
	f.resource(&record.Holder, "people", "to", "holder", "PERSON", "who gets it")
	f.site(&record.Site, "site", "site", "the site of the crib; that of the current place when not given")
	f.resource(&record.OverrideBy, "people", "override-by", "override_by", "PERSON", "who lets it pass although it is not fit")
	f.text(&record.OverrideReason, "because", "override_reason", "why it is let pass")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		tool, err := resourceArg(args[0], "tools")
		if err != nil {
			return err
		}
		if err := f.require("to"); err != nil {
			return err
		}
		if err := a.siteHere(f, &record.Site); err != nil {
			return err
		}
		id, e, err := a.entry(ctx, &entry, false)
		if err != nil {
			return err
		}
		record.Name, record.Tool, record.Entry = "custodyChanges/"+id, tool, e
		names := f.names()
		names["tool"] = "SERIAL"
		s := sent{kind: ledger.KindCustody, id: id, names: names, summary: sentence("tool "+ledger.ShortName(tool)+" lent to "+ledger.ShortName(record.GetHolder()), ledger.ShortName(record.GetSite()))}
		return a.lend(ctx, s, record, &entry)
	})
}

// letPass says how a loan is let pass.
const letPass = "somebody whose role may can let it pass: --override-by PERSON --because TEXT"

// lend lends a tool: the server looks whether it is fit while it answers at once, else
// this device does by what it carries.
func (a *app) lend(ctx context.Context, s sent, loan *pb.CustodyChange, entry *entryOptions) error {
	conn, err := a.connToAsk(ctx, a.carriesAny())
	if err != nil {
		return err
	}
	if conn == nil {
		return a.lendHere(ctx, s, loan, entry)
	}
	var answer *pb.LendToolResponse
	outcomes, err := sendKnown(ctx, conn, s, entry, func(ctx context.Context, conn *grpc.ClientConn) ([]*pb.Outcome, error) {
		var err error
		answer, err = pb.NewCribServiceClient(conn).LendTool(ctx, &pb.LendToolRequest{CustodyChange: loan})
		return []*pb.Outcome{answer.GetOutcome()}, err
	})
	if err != nil {
		failed := a.unsure(err, entry, s.names)
		if f, ok := errors.AsType[*failure](failed); ok && f.code == exitData && strings.Contains(f.message, "may not be lent") {
			f.lines = append(f.lines, letPass)
		}
		return failed
	}
	if over := answer.GetOverridden(); len(over) > 0 {
		s.summary = sentence(s.summary, "let pass by "+ledger.ShortName(loan.GetOverrideBy()))
	}
	a.noteCrib(s, loan, answer.GetOutcome())
	return a.tellOutcome(s, outcomes)
}

// lendHere keeps a loan on this device, unless what it carries speaks against it and
// nobody who may lets it pass.
func (a *app) lendHere(ctx context.Context, s sent, loan *pb.CustodyChange, entry *entryOptions) error {
	if err := soundRecord(loan, s.names); err != nil {
		return err
	}
	d, err := a.atDoor(loan, "what was lent all the same is kept with trackctl custody issued, which refuses nothing")
	if err != nil {
		return err
	}
	refusals, err := d.tool.LendingRefusals(ledger.ShortName(loan.GetSite()), entry.at)
	if err != nil {
		return err
	}
	by := ledger.ShortName(loan.GetOverrideBy())
	switch {
	case d.kept != nil || len(refusals) == 0:
	case by == "":
		return d.refuses(analysis.LendingError(ledger.ShortName(loan.GetTool()), ledger.ShortName(loan.GetHolder()), refusals), letPass)
	default:
		if person, ok := d.pack.Person(by); ok {
			if err := d.refuses(known.MayLetPass(person), ""); err != nil {
				return err
			}
		}
		s.summary = sentence(s.summary, "let pass by "+by)
	}
	box, err := a.deviceOutbox()
	if err != nil {
		return err
	}
	return a.keepHere(ctx, box, s, entry, []record{loan})
}

func (a *app) toolTakeBack() *cobra.Command {
	var entry entryOptions
	var condition pb.CustodyKind
	change := &pb.CustodyChange{Kind: pb.CustodyKind_CUSTODY_KIND_RETURNED}
	cmd := a.command("take-back SERIAL", "Take a tool back into the crib",
		"SERIAL may be the code of its label. With --condition it is kept too that the tool\n"+
			"was dropped or overloaded; what is so is due at once where its policies say so.")
	cmd.Example = "  trackctl tool take-back TW-RVB-03 --site rvb\n  trackctl tool take-back TW-RVB-03 --site rvb --condition dropped --note \"from the deck\""
	f := newFields(cmd)
	f.site(&change.Site, "site", "site", "the site of the crib; that of the current place when not given")
	f.words("condition", "kind", "what befell it, as its holder says", []string{"dropped", "overloaded"}, func(word string) error {
		kind, err := ledger.CustodyKinds.Parse(word)
		condition = pb.CustodyKind(kind)
		return err
	})
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		tool, err := resourceArg(args[0], "tools")
		if err != nil {
			return err
		}
		if err := a.siteHere(f, &change.Site); err != nil {
			return err
		}
		id, e, err := a.entry(ctx, &entry, false)
		if err != nil {
			return err
		}
		change.Name, change.Tool, change.Entry = "custodyChanges/"+id, tool, e
		changes := []record{change}
		summary := "tool " + ledger.ShortName(tool) + " taken back"
		if condition != 0 {
			befell, err := siblingID(id)
			if err != nil {
				return err
			}
			// First what befell it: taken back is where it is now.
			changes = []record{&pb.CustodyChange{Name: "custodyChanges/" + befell, Kind: condition, Tool: tool, Site: change.Site, Entry: e}, change}
			summary = sentence(summary, wordOf(ledger.CustodyKinds, condition))
		}
		names := f.names()
		names["tool"] = "SERIAL"
		s := sent{kind: ledger.KindCustody, id: id, names: names, summary: sentence(summary, ledger.ShortName(change.GetSite()))}
		if condition != 0 {
			s.remark = "it must be proved before it goes out again: see trackctl due"
		}
		return a.sendRecord(ctx, s, &entry, changes...)
	})
}

// decisive is the outcome to tell of records that belong together: the first that
// was refused, else the last.
func decisive(outcomes []*pb.Outcome) []*pb.Outcome {
	for _, o := range outcomes {
		if o.GetState() == pb.Outcome_STATE_REFUSED {
			return []*pb.Outcome{o}
		}
	}
	return outcomes[max(0, len(outcomes)-1):]
}

// siblingID is the id of a second record made with the first: always the same, so
// that sending both again keeps each once.
func siblingID(id string) (string, error) {
	parsed, err := parseID(id)
	if err != nil {
		return "", usage("--id: %q is no UUID", id)
	}
	parsed[len(parsed)-1] ^= 1
	return fmt.Sprint(parsed), nil
}
