package cli

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// readPage reads one page of a list of records.
type readPage[T any] func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]T, string, error)

// recordList makes the command that lists records of one kind. Its flags are bound
// by bind.
func recordList[T any](a *app, use, short, key string, columns []output.Column[T], bind func(*fields), read readPage[T], notes ...output.Note) *cobra.Command {
	var limit int
	long := ""
	if len(notes) > 0 {
		long = caution
	}
	cmd := a.command(use, short, long)
	limitFlag(cmd, &limit)
	bind(newFields(cmd))
	narrowedByFlags(cmd)
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		return list(a, limit, key, columns, func(size int32, token string) ([]T, string, error) {
			return read(ctx, conn, size, token)
		}, notes...)
	})
}

func (a *app) listTightenings() *cobra.Command {
	var r recordFilter
	return recordList(a, "tightenings", "List tightenings", "tightenings", tighteningColumns(), r.flags,
		func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]*pb.Tightening, string, error) {
			page, err := pb.NewAssemblyServiceClient(conn).ListTightenings(ctx, &pb.ListTighteningsRequest{PageSize: size, PageToken: token,
				Place: r.place, Lot: r.lot, Tool: r.tool, Person: r.person, StartTime: r.start(), EndTime: r.end()})
			return page.GetTightenings(), page.GetNextPageToken(), err
		}, torqueCaution())
}

func (a *app) listIncidents() *cobra.Command {
	var r recordFilter
	var kind pb.IncidentKind
	return recordList(a, "incidents", "List incidents", "incidents", incidentColumns(), func(f *fields) {
		r.flags(f)
		wordField(f, &kind, ledger.IncidentKinds, "kind", "kind", "only of this kind")
	}, func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]*pb.Incident, string, error) {
		page, err := pb.NewAssemblyServiceClient(conn).ListIncidents(ctx, &pb.ListIncidentsRequest{PageSize: size, PageToken: token,
			Place: r.place, Lot: r.lot, Tool: r.tool, Person: r.person, StartTime: r.start(), EndTime: r.end(), Kind: kind})
		return page.GetIncidents(), page.GetNextPageToken(), err
	})
}

func (a *app) listSealings() *cobra.Command {
	var r recordFilter
	return recordList(a, "sealings", "List sealings", "sealings", sealingColumns(), func(f *fields) {
		r.placeFlag(f)
		r.personFlag(f)
		r.span.flags(f)
	}, func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]*pb.Sealing, string, error) {
		page, err := pb.NewInspectionServiceClient(conn).ListSealings(ctx, &pb.ListSealingsRequest{PageSize: size, PageToken: token,
			Place: r.place, Person: r.person, StartTime: r.start(), EndTime: r.end()})
		return page.GetSealings(), page.GetNextPageToken(), err
	})
}

func (a *app) listInspections() *cobra.Command {
	var r recordFilter
	return recordList(a, "inspections", "List inspections", "inspections", inspectionColumns(), func(f *fields) {
		r.placeFlag(f)
		r.personFlag(f)
		r.span.flags(f)
	}, func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]*pb.Inspection, string, error) {
		page, err := pb.NewInspectionServiceClient(conn).ListInspections(ctx, &pb.ListInspectionsRequest{PageSize: size, PageToken: token,
			Place: r.place, Person: r.person, StartTime: r.start(), EndTime: r.end()})
		return page.GetInspections(), page.GetNextPageToken(), err
	}, torqueCaution())
}

func (a *app) listCustody() *cobra.Command {
	var r recordFilter
	var site string
	return recordList(a, "custody", "List changes of custody", "custody_changes", custodyColumns(), func(f *fields) {
		f.site(&site, "site", "site", "only at this site")
		r.toolFlag(f)
		r.span.flags(f)
	}, func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]*pb.CustodyChange, string, error) {
		page, err := pb.NewControlServiceClient(conn).ListCustodyChanges(ctx, &pb.ListCustodyChangesRequest{PageSize: size, PageToken: token,
			Site: site, Tool: r.tool, StartTime: r.start(), EndTime: r.end()})
		return page.GetCustodyChanges(), page.GetNextPageToken(), err
	})
}

func (a *app) listHolds() *cobra.Command {
	var filter holdFilter
	return recordList(a, "holds", "List holds and releases", "holds", holdColumns(), func(f *fields) {
		f.place(&filter.place, "place", "place", "only at or below this site, tower, cell or joint", 1, 2, 3, 4)
		filter.flags(f)
	}, func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]*pb.Hold, string, error) {
		return filter.fetch(ctx, conn)(size, token)
	})
}

func (a *app) listDispositions() *cobra.Command {
	var r recordFilter
	return recordList(a, "dispositions", "List dispositions of incidents", "dispositions", dispositionColumns(), func(f *fields) {
		r.placeFlag(f)
		r.span.flags(f)
	}, func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]*pb.Disposition, string, error) {
		page, err := pb.NewControlServiceClient(conn).ListDispositions(ctx, &pb.ListDispositionsRequest{PageSize: size, PageToken: token,
			Place: r.place, StartTime: r.start(), EndTime: r.end()})
		return page.GetDispositions(), page.GetNextPageToken(), err
	})
}

func (a *app) listSignOffs() *cobra.Command {
	var r recordFilter
	return recordList(a, "sign-offs", "List sign-offs", "sign_offs", signOffColumns(), func(f *fields) {
		r.placeFlag(f)
		r.span.flags(f)
	}, func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]*pb.SignOff, string, error) {
		page, err := pb.NewControlServiceClient(conn).ListSignOffs(ctx, &pb.ListSignOffsRequest{PageSize: size, PageToken: token,
			Place: r.place, StartTime: r.start(), EndTime: r.end()})
		return page.GetSignOffs(), page.GetNextPageToken(), err
	})
}

func (a *app) listCorrections() *cobra.Command {
	var r recordFilter
	var site string
	return recordList(a, "corrections", "List corrections", "corrections", correctionColumns(), func(f *fields) {
		f.site(&site, "site", "site", "only at this site")
		r.span.flags(f)
	}, func(ctx context.Context, conn *grpc.ClientConn, size int32, token string) ([]*pb.Correction, string, error) {
		page, err := pb.NewControlServiceClient(conn).ListCorrections(ctx, &pb.ListCorrectionsRequest{PageSize: size, PageToken: token,
			Site: site, StartTime: r.start(), EndTime: r.end()})
		return page.GetCorrections(), page.GetNextPageToken(), err
	})
}
