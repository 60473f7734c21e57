package cli

import (
	"context"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) signOffCommand() *cobra.Command {
	var entry entryOptions
	record := &pb.SignOff{}
	cmd := a.command("sign-off PLACE", "Record that a joint, cell or tower was accepted at a point of the plan",
		"A sign-off at a hold point accepts the joints that are tightened. It takes\n"+releasers+".")
	cmd.Example = "  trackctl sign-off rvb/ct2/c3 --point hold-point --title \"before water\""
	f := newFields(cmd)
	wordField(f, &record.Point, ledger.SignOffPoints, "point", "point", "point of the inspection and test plan")
	f.text(&record.Title, "title", "title", "name of the point in the plan")
	entry.flags(f)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		place, err := a.placeHere(args[0], 2, 3, 4)
		if err != nil {
			return err
		}
		if err := a.require(ctx, f, "point"); err != nil {
			return err
		}
		id, e, err := a.entry(ctx, &entry, true)
		if err != nil {
			return err
		}
		record.Name, record.Place, record.Entry = "signOffs/"+id, place.Resource(), e
		names := f.names()
		names["place"] = "PLACE"
		s := sent{kind: ledger.KindSignOff, id: id, summary: sentence("signed off "+place.String(), wordOf(ledger.SignOffPoints, record.GetPoint()), record.GetTitle()), names: names}
		return a.sendRecord(ctx, s, &entry, record)
	})
}

func signOffColumns() []output.Column[*pb.SignOff] {
	type signOff = *pb.SignOff
	columns := idColumns[signOff]()
	return append(append(columns, []output.Column[signOff]{
		{Name: "place", Heading: "PLACE", Value: func(s signOff) any { return ledger.ShortName(s.GetPlace()) }},
		{Name: "point", Heading: "POINT", Value: func(s signOff) any { return text(wordOf(ledger.SignOffPoints, s.GetPoint())) }},
		{Name: "title", Heading: "TITLE", Value: func(s signOff) any { return text(s.GetTitle()) }},
	}...), entryColumns[signOff]()...)
}
