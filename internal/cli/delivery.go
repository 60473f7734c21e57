package cli

import (
	"context"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/grpc"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// deliveredRecord puts a record into the message that holds any kind; nil for a
// kind that no device makes. It asks no descriptor: protobuf would make those of every
// kind of record first, while somebody waits for an entry to be safe.
func deliveredRecord(r record) *pb.DeliveredRecord {
	switch r := r.(type) {
	case *pb.Tightening:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Tightening{Tightening: r}}
	case *pb.Incident:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Incident{Incident: r}}
	case *pb.Sealing:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Sealing{Sealing: r}}
	case *pb.Inspection:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Inspection{Inspection: r}}
	case *pb.Calibration:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Calibration{Calibration: r}}
	case *pb.LotMovement:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_LotMovement{LotMovement: r}}
	case *pb.CustodyChange:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_CustodyChange{CustodyChange: r}}
	case *pb.Hold:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Hold{Hold: r}}
	case *pb.Disposition:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Disposition{Disposition: r}}
	case *pb.SignOff:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_SignOff{SignOff: r}}
	case *pb.Correction:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Correction{Correction: r}}
	case *pb.ToolCheck:
		return &pb.DeliveredRecord{Record: &pb.DeliveredRecord_ToolCheck{ToolCheck: r}}
	}
	return nil
}

// recordOf is the record that the message holds; nil for one of a kind that this
// program does not know.
func recordOf(d *pb.DeliveredRecord) record {
	m := d.ProtoReflect()
	f := m.WhichOneof(m.Descriptor().Oneofs().ByName("record"))
	if f == nil {
		return nil
	}
	r, _ := m.Get(f).Message().Interface().(record)
	return r
}

// recordIDOf is the id in a record's name.
func recordIDOf(r record) (uuid.UUID, error) {
	_, id, _ := strings.Cut(r.GetName(), "/")
	return uuid.Parse(id)
}

// recordKindOf is the kind of a record by the collection of its name; 0 for none.
func recordKindOf(r record) ledger.RecordKind {
	collection, _, _ := strings.Cut(r.GetName(), "/")
	for _, word := range ledger.RecordKinds.All() {
		kind, err := ledger.RecordKinds.Parse(word)
		if err != nil {
			continue
		}
		if of, _, _ := strings.Cut(ledger.RecordName(kind, uuid.Nil), "/"); of == collection {
			return kind
		}
	}
	return 0
}

// siteOfRecord is the site that a record names; empty for one that says only what it is
// about.
func siteOfRecord(r record) string {
	var named []string
	if p, ok := r.(interface{ GetPlace() string }); ok {
		named = append(named, p.GetPlace())
	}
	if j, ok := r.(interface{ GetJoint() string }); ok {
		named = append(named, j.GetJoint())
	}
	if s, ok := r.(interface{ GetSite() string }); ok {
		named = append(named, s.GetSite())
	}
	for _, n := range named {
		if parts := strings.Split(n, "/"); len(parts) > 1 && parts[0] == "sites" {
			return parts[1]
		}
	}
	return ""
}

// recordDirectly sends records of one kind to the server with the method of that
// kind, and gives an outcome for each.
func recordDirectly(ctx context.Context, conn *grpc.ClientConn, records []record) ([]*pb.Outcome, error) {
	outcomes, err := recordByKind(ctx, conn, records)
	if err != nil {
		return nil, err
	}
	if len(outcomes) != len(records) {
		return nil, &failure{code: exitInternal, message: fmt.Sprintf("the server answered for %d records of %d", len(outcomes), len(records))}
	}
	return outcomes, nil
}

func recordByKind(ctx context.Context, conn *grpc.ClientConn, records []record) ([]*pb.Outcome, error) {
	assembly, inspection, control, tools := pb.NewAssemblyServiceClient(conn), pb.NewInspectionServiceClient(conn), pb.NewControlServiceClient(conn), pb.NewToolServiceClient(conn)
	switch records[0].(type) {
	case *pb.Tightening:
		return outcomesOf(assembly.RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: ofKind[*pb.Tightening](records)}))
	case *pb.Incident:
		return outcomesOf(assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: ofKind[*pb.Incident](records)}))
	case *pb.Sealing:
		return outcomesOf(inspection.RecordSealings(ctx, &pb.RecordSealingsRequest{Sealings: ofKind[*pb.Sealing](records)}))
	case *pb.Inspection:
		return outcomesOf(inspection.RecordInspections(ctx, &pb.RecordInspectionsRequest{Inspections: ofKind[*pb.Inspection](records)}))
	case *pb.Calibration:
		return outcomesOf(tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: ofKind[*pb.Calibration](records)}))
	case *pb.LotMovement:
		return outcomesOf(pb.NewLotServiceClient(conn).RecordLotMovements(ctx, &pb.RecordLotMovementsRequest{LotMovements: ofKind[*pb.LotMovement](records)}))
	case *pb.CustodyChange:
		return outcomesOf(control.RecordCustodyChanges(ctx, &pb.RecordCustodyChangesRequest{CustodyChanges: ofKind[*pb.CustodyChange](records)}))
	case *pb.Hold:
		return outcomesOf(control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: ofKind[*pb.Hold](records)}))
	case *pb.Disposition:
		return outcomesOf(control.RecordDispositions(ctx, &pb.RecordDispositionsRequest{Dispositions: ofKind[*pb.Disposition](records)}))
	case *pb.SignOff:
		return outcomesOf(control.RecordSignOffs(ctx, &pb.RecordSignOffsRequest{SignOffs: ofKind[*pb.SignOff](records)}))
	case *pb.Correction:
		return outcomesOf(control.RecordCorrections(ctx, &pb.RecordCorrectionsRequest{Corrections: ofKind[*pb.Correction](records)}))
	case *pb.ToolCheck:
		return outcomesOf(tools.RecordToolChecks(ctx, &pb.RecordToolChecksRequest{ToolChecks: ofKind[*pb.ToolCheck](records)}))
	}
	return nil, &failure{code: exitInternal, message: fmt.Sprintf("a %T is no record that is sent", records[0])}
}

func ofKind[T record](records []record) []T {
	out := make([]T, 0, len(records))
	for _, r := range records {
		if t, ok := r.(T); ok {
			out = append(out, t)
		}
	}
	return out
}
