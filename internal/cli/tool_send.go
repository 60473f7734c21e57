package cli

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// paperSent says how a tool is kept as sent that the crib would not send.
const paperSent = "what was sent all the same is kept with trackctl custody sent, which refuses nothing"

// sendTool sends a tool off to another site: the server looks whether it lies in the
// crib while it answers at once, else this device does by what it carries.
func (a *app) sendTool(ctx context.Context, arg, to string, record *pb.CustodyChange, entry *entryOptions, f *fields) error {
	conn, err := a.connToAsk(ctx, a.carriesAny())
	if err != nil {
		return err
	}
	if conn != nil {
		if _, err := pb.NewStructureServiceClient(conn).GetSite(ctx, &pb.GetSiteRequest{Name: to}); err != nil {
			return a.withoutData(a.callFailure(err, f.names()))
		}
	}
	if err := a.custodyOf(ctx, arg, record, entry); err != nil {
		return err
	}
	s := sentCustody(record, f, "sent to "+ledger.ShortName(to)+" from")
	if conn == nil {
		return a.sendToolHere(ctx, s, to, record, entry)
	}
	return a.sendBy(ctx, s, entry, func(ctx context.Context, conn *grpc.ClientConn) ([]*pb.Outcome, error) {
		answer, err := pb.NewCribServiceClient(conn).SendTool(ctx, &pb.SendToolRequest{CustodyChange: record, ToSite: to})
		if err != nil {
			return nil, err
		}
		a.noteCrib(s, sentTo(record, to), answer.GetOutcome())
		return []*pb.Outcome{answer.GetOutcome()}, nil
	})
}

// sendToolHere keeps on this device that a tool was sent off, unless what it carries
// speaks against it.
func (a *app) sendToolHere(ctx context.Context, s sent, to string, change *pb.CustodyChange, entry *entryOptions) error {
	d, err := a.atDoor(change, paperSent)
	if err != nil {
		return err
	}
	if d.kept == nil {
		if err := d.refuses(d.tool.SendingError(ledger.ShortName(change.GetSite()), ledger.ShortName(to)), paperSent); err != nil {
			return err
		}
	}
	if _, carried, err := a.carriedFor(ledger.ShortName(to)); err != nil || !carried {
		s.remark = "whether there is a site " + ledger.ShortName(to) + " was not looked at: this device carries no data of it"
	}
	box, err := a.deviceOutbox()
	if err != nil {
		return err
	}
	return a.keepHere(ctx, box, s, entry, []record{sentTo(change, to)})
}

// sentTo is the record with where the tool goes in its note, as the server keeps it.
func sentTo(record *pb.CustodyChange, to string) *pb.CustodyChange {
	kept := proto.CloneOf(record)
	kept.Entry.Note = sentence("to "+ledger.ShortName(to), record.GetEntry().GetNote())
	return kept
}

// noteCrib notes what the crib let go out through the server, so that undo knows it.
func (a *app) noteCrib(s sent, change *pb.CustodyChange, outcome *pb.Outcome) {
	if box, err := a.deviceOutbox(); err == nil {
		a.noteDirect(box, s, []record{change}, []*pb.Outcome{outcome})
	}
}
