package cli

import (
	"context"

	"google.golang.org/grpc"

	"jointledger/internal/analysis"
	"jointledger/internal/carry/outbox"
	"jointledger/internal/carry/pack"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// toolPlace is where a tool is, and who has it: resource names, the holder empty for
// nobody.
type toolPlace struct{ site, holder string }

// whereIs looks up where a tool is at the time of an entry.
func (a *app) whereIs(ctx context.Context, tool string, e *pb.Entry) (toolPlace, error) {
	return lookUp(ctx, a, func(ctx context.Context, conn *grpc.ClientConn) (at toolPlace, err error) {
		found, err := pb.NewCribServiceClient(conn).ListToolWhereabouts(ctx, &pb.ListToolWhereaboutsRequest{Tool: tool, AsOfTime: e.GetOccurTime()})
		if err != nil && !unanswered(err) {
			return at, a.callFailure(err, map[string]string{"tool": "SERIAL"})
		}
		for _, w := range found.GetTools() {
			at = toolPlace{w.GetSite(), w.GetHolder()}
		}
		return at, err
	}, func() (toolPlace, error) {
		// As where it is, what it would be received as is of no account.
		d, err := a.atDoor(&pb.CustodyChange{Tool: tool, Kind: pb.CustodyKind_CUSTODY_KIND_RECEIVED, Entry: e}, "--site keeps it all the same: the server judges it when it is sent")
		if err != nil {
			return toolPlace{}, err
		}
		w, err := analysis.WhereaboutsOf(d.tool, occurred(e))
		if err != nil {
			return toolPlace{}, err
		}
		return toolPlace{wire.ResourceName("sites", w.Site), wire.ResourceName("people", w.Holder)}, nil
	})
}

// door is a tool that is to go out or to come in, by what this device knows of it.
type door struct {
	tool analysis.TrackedTool
	// pack are the data that know it.
	pack *pack.Pack
	// kept is the entry of this device that has the id of the change already; nil for
	// none.
	kept *outbox.Entry
}

// atDoor reads the tool of a change of custody from carried data and from what waits on
// this device. The failure tells of lines what can be done where the tool is not known.
func (a *app) atDoor(change *pb.CustodyChange, lines ...string) (door, error) {
	p, _, err := a.carriedTool(change.GetTool(), lines...)
	if err != nil {
		return door{}, err
	}
	_, entries, err := a.outboxEntries()
	if err != nil {
		return door{}, err
	}
	d := door{pack: p}
	r := &ledger.Custody{
		Entry: ledger.Entry{OccurTime: occurred(change.GetEntry())}, Tool: ledger.ShortName(change.GetTool()), Kind: ledger.CustodyKind(change.GetKind()),
		Site: ledger.ShortName(change.GetSite()), Holder: ledger.ShortName(change.GetHolder()),
	}
	if id, err := recordIDOf(change); err == nil {
		r.ID, d.kept = id, entryByID(entries, id)
	}
	past := entriesAsOf(entries, p.AsOf())
	d.tool, _ = known.AtDoor(p, r, past.before(change), a.now())
	if err := p.Err(); err != nil {
		return d, carriedFailure(p.Site().Code, err)
	}
	return d, nil
}

// refuses makes a failure of what speaks against a change of custody, said as the
// server says it, with the moment of the data that say so; nil for nothing.
func (d door) refuses(err error, more string) error {
	if err == nil {
		return nil
	}
	e := ledger.AsError(err)
	f := &failure{code: exitData, message: e.Message, lines: []string{"by data of " + dateOfData(d.pack)}}
	if e.Kind == ledger.KindDenied {
		f.code = exitDenied
	}
	f.lines = append(f.lines, given("", more)...)
	return f
}
