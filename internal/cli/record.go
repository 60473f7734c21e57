package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) recordCommand() *cobra.Command {
	lists := group("list", "List records of one kind", a.listTightenings(), a.listIncidents())
	return group("record", "Records of the work: tightenings and incidents", lists, a.recordShow())
}

// recordFilter are the flags that cut a list of records.
type recordFilter struct {
	limit                    int
	place, lot, tool, person string
	span
}

func (r *recordFilter) flags(f *fields) {
	limitFlag(f.cmd, &r.limit)
	f.bind("place", "place", "PLACE", "only at or below this site, tower, cell or joint", func(text string) error {
		place, err := placeArg(text, 1, 2, 3, 4)
		r.place = place.Resource()
		return err
	})
	f.resource(&r.lot, "lots", "lot", "lot", "LOT", "only of this lot")
	f.resource(&r.tool, "tools", "tool", "tool", "SERIAL", "only with this tool")
	f.resource(&r.person, "people", "by-person", "person", "PERSON", "only by this person")
	r.span.flags(f)
}

func (a *app) listTightenings() *cobra.Command {
	var filter recordFilter
	cmd := a.command("tightenings", "List tightenings", caution)
	filter.flags(newFields(cmd))
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewAssemblyServiceClient(conn)
		request := &pb.ListTighteningsRequest{Place: filter.place, Lot: filter.lot, Tool: filter.tool, Person: filter.person,
			StartTime: filter.start(), EndTime: filter.end()}
		return list(a, filter.limit, "tightenings", tighteningColumns(), func(size int32, token string) ([]*pb.Tightening, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListTightenings(ctx, request)
			return page.GetTightenings(), page.GetNextPageToken(), err
		}, torqueCaution())
	})
}

func (a *app) listIncidents() *cobra.Command {
	var filter recordFilter
	var kind pb.IncidentKind
	cmd := a.command("incidents", "List incidents", "")
	f := newFields(cmd)
	filter.flags(f)
	wordField(f, &kind, ledger.IncidentKinds, "kind", "kind", "only of this kind")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewAssemblyServiceClient(conn)
		request := &pb.ListIncidentsRequest{Place: filter.place, Lot: filter.lot, Tool: filter.tool, Person: filter.person,
			StartTime: filter.start(), EndTime: filter.end(), Kind: kind}
		return list(a, filter.limit, "incidents", incidentColumns(), func(size int32, token string) ([]*pb.Incident, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListIncidents(ctx, request)
			return page.GetIncidents(), page.GetNextPageToken(), err
		})
	})
}

// recordReader reads and shows a record of one kind.
type recordReader struct {
	collection string
	show       func(ctx context.Context, a *app, conn *grpc.ClientConn, name string) error
}

// recordReaders are the kinds of record, in the order in which an id is looked
// for.
func recordReaders() []recordReader {
	return []recordReader{
		{"tightenings", func(ctx context.Context, a *app, conn *grpc.ClientConn, name string) error {
			got, err := pb.NewAssemblyServiceClient(conn).GetTightening(ctx, &pb.GetTighteningRequest{Name: name})
			if err != nil {
				return err
			}
			return output.Show(a.config(), "tightenings", tighteningColumns(), got, torqueCaution())
		}},
		{"incidents", func(ctx context.Context, a *app, conn *grpc.ClientConn, name string) error {
			got, err := pb.NewAssemblyServiceClient(conn).GetIncident(ctx, &pb.GetIncidentRequest{Name: name})
			if err != nil {
				return err
			}
			return output.Show(a.config(), "incidents", incidentColumns(), got)
		}},
		{"calibrations", func(ctx context.Context, a *app, conn *grpc.ClientConn, name string) error {
			return a.showCalibration(ctx, conn, name)
		}},
		{"lotMovements", func(ctx context.Context, a *app, conn *grpc.ClientConn, name string) error {
			got, err := pb.NewLotServiceClient(conn).GetLotMovement(ctx, &pb.GetLotMovementRequest{Name: name})
			if err != nil {
				return err
			}
			return output.Show(a.config(), "movements", movementColumns(), got)
		}},
	}
}

func (a *app) recordShow() *cobra.Command {
	cmd := a.command("show ID", "Show a record of any kind", "ID is the record's UUID, or its resource name such as incidents/UUID.")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		collection, id, named := strings.Cut(args[0], "/")
		if !named {
			id, collection = args[0], ""
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		for _, r := range recordReaders() {
			if named && r.collection != collection {
				continue
			}
			err := r.show(ctx, a, conn, r.collection+"/"+id)
			if named || status.Code(err) != codes.NotFound {
				return err
			}
		}
		return &failure{code: exitUnknown, message: "no record has the id " + args[0]}
	})
}
