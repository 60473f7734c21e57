package cli

import (
	"context"
	"slices"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/nearest"
	pb "jointledger/proto/jointledger/v1"
)

// record is a record of any kind.
type record interface {
	proto.Message
	GetName() string
	GetEntry() *pb.Entry
}

// recordKind says how the records of one kind are read, shown and replaced.
type recordKind struct {
	kind ledger.RecordKind
	// collection is the first part of the resource names, key the plural in JSON.
	collection, key string
	// members are the names of its fields in JSON.
	members []string
	get     func(ctx context.Context, conn *grpc.ClientConn, name string) (record, error)
	// blank makes an empty record with an entry.
	blank func() record
	show  func(a *app, r record) error
	// object is the record as nested JSON.
	object func(r record) output.Object
	// replacement is nil for a kind that can only be withdrawn.
	replacement *replacement
}

// replacement says how a record is replaced by a corrected one.
type replacement struct {
	// fields binds the flags of everything that the record tells. What it gives
	// must be called when they have been read.
	fields func(f *fields, r record) (finish func())
	// with puts the replacement into a correction.
	with func(c *pb.Correction, r record)
}

// newRecordKind makes a kind of which every record has one line in tables.
func newRecordKind[T record](kind ledger.RecordKind, key string, columns []output.Column[T],
	get func(ctx context.Context, conn *grpc.ClientConn, name string) (T, error), notes ...output.Note) *recordKind {
	collection, _, _ := strings.Cut(ledger.RecordName(kind, uuid.Nil), "/")
	return &recordKind{
		kind: kind, collection: collection, key: key, members: membersOf(columns),
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (record, error) {
			r, err := get(ctx, conn, name)
			if err != nil {
				return nil, err
			}
			return r, nil
		},
		blank: func() record {
			var none T
			m := none.ProtoReflect().New()
			m.Mutable(m.Descriptor().Fields().ByName("entry"))
			return m.Interface().(record)
		},
		show:   func(a *app, r record) error { return output.Show(a.config(), key, columns, r.(T), notes...) },
		object: func(r record) output.Object { return output.ObjectOf(columns, r.(T)) },
	}
}

// replacedBy gives the kind its replacement.
func replacedBy[T record](k *recordKind, bind func(f *fields, r T), with func(c *pb.Correction, r T)) *recordKind {
	k.replacement = &replacement{
		fields: func(f *fields, r record) func() { bind(f, r.(T)); return func() {} },
		with:   func(c *pb.Correction, r record) { with(c, r.(T)) },
	}
	return k
}

// recordKinds are the kinds of record, in the order in which an id is looked for.
func recordKinds() []*recordKind {
	return slices.Concat(workKinds(), controlKinds())
}

func workKinds() []*recordKind {
	assembly, inspection := pb.NewAssemblyServiceClient, pb.NewInspectionServiceClient
	return []*recordKind{
		replacedBy(newRecordKind(ledger.KindTightening, "tightenings", tighteningColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Tightening, error) {
			return assembly(conn).GetTightening(ctx, &pb.GetTighteningRequest{Name: name})
		}, torqueCaution()), replaceTightening, func(c *pb.Correction, r *pb.Tightening) { c.Replacement = &pb.Correction_Tightening{Tightening: r} }),
		replacedBy(newRecordKind(ledger.KindIncident, "incidents", incidentColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Incident, error) {
			return assembly(conn).GetIncident(ctx, &pb.GetIncidentRequest{Name: name})
		}), replaceIncident, func(c *pb.Correction, r *pb.Incident) { c.Replacement = &pb.Correction_Incident{Incident: r} }),
		replacedBy(newRecordKind(ledger.KindSealing, "sealings", sealingColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Sealing, error) {
			return inspection(conn).GetSealing(ctx, &pb.GetSealingRequest{Name: name})
		}), replaceSealing, func(c *pb.Correction, r *pb.Sealing) { c.Replacement = &pb.Correction_Sealing{Sealing: r} }),
		replacedBy(newRecordKind(ledger.KindInspection, "inspections", inspectionColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Inspection, error) {
			return inspection(conn).GetInspection(ctx, &pb.GetInspectionRequest{Name: name})
		}, torqueCaution()), replaceInspection, func(c *pb.Correction, r *pb.Inspection) { c.Replacement = &pb.Correction_Inspection{Inspection: r} }),
		calibrationKind(),
		replacedBy(newRecordKind(ledger.KindLotMovement, "movements", movementColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.LotMovement, error) {
			return pb.NewLotServiceClient(conn).GetLotMovement(ctx, &pb.GetLotMovementRequest{Name: name})
		}), replaceMovement, func(c *pb.Correction, r *pb.LotMovement) { c.Replacement = &pb.Correction_LotMovement{LotMovement: r} }),
	}
}

func controlKinds() []*recordKind {
	control := pb.NewControlServiceClient
	return []*recordKind{
		replacedBy(newRecordKind(ledger.KindCustody, "custody_changes", custodyColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.CustodyChange, error) {
			return control(conn).GetCustodyChange(ctx, &pb.GetCustodyChangeRequest{Name: name})
		}), replaceCustody, func(c *pb.Correction, r *pb.CustodyChange) {
			c.Replacement = &pb.Correction_CustodyChange{CustodyChange: r}
		}),
		newRecordKind(ledger.KindHold, "holds", holdColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Hold, error) {
			return control(conn).GetHold(ctx, &pb.GetHoldRequest{Name: name})
		}),
		newRecordKind(ledger.KindDisposition, "dispositions", dispositionColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Disposition, error) {
			return control(conn).GetDisposition(ctx, &pb.GetDispositionRequest{Name: name})
		}),
		newRecordKind(ledger.KindSignOff, "sign_offs", signOffColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.SignOff, error) {
			return control(conn).GetSignOff(ctx, &pb.GetSignOffRequest{Name: name})
		}),
		newRecordKind(ledger.KindCorrection, "corrections", correctionColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Correction, error) {
			return control(conn).GetCorrection(ctx, &pb.GetCorrectionRequest{Name: name})
		}),
		replacedBy(newRecordKind(ledger.KindToolCheck, "tool_checks", toolCheckColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.ToolCheck, error) {
			return pb.NewToolServiceClient(conn).GetToolCheck(ctx, &pb.GetToolCheckRequest{Name: name})
		}), replaceToolCheck, func(c *pb.Correction, r *pb.ToolCheck) { c.Replacement = &pb.Correction_ToolCheck{ToolCheck: r} }),
		alarmKind(),
	}
}

// calibrationKind has a line for each test point in tables.
func calibrationKind() *recordKind {
	k := newRecordKind(ledger.KindCalibration, "calibrations", calibrationColumns(), func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Calibration, error) {
		return pb.NewToolServiceClient(conn).GetCalibration(ctx, &pb.GetCalibrationRequest{Name: name})
	})
	k.show = func(a *app, r record) error { return showCalibration(a, r.(*pb.Calibration)) }
	k.replacement = &replacement{
		fields: func(f *fields, r record) func() { return replaceCalibration(f, r.(*pb.Calibration)) },
		with: func(c *pb.Correction, r record) {
			c.Replacement = &pb.Correction_Calibration{Calibration: r.(*pb.Calibration)}
		},
	}
	return k
}

// findRecord reads a record by its UUID, or by its resource name such as
// incidents/UUID, which saves looking through the kinds.
func (a *app) findRecord(ctx context.Context, typed string) (*recordKind, record, error) {
	collection, rest, named := strings.Cut(strings.TrimSpace(typed), "/")
	if !named {
		collection, rest = "", collection
	}
	id, err := uuid.Parse(rest)
	if err != nil {
		return nil, nil, usage("expected the id of a record such as 019cadd3-6bc0-77c9-9e41-58325664ba11, got %s", csvfile.Quote(typed))
	}
	kinds := recordKinds()
	if named {
		k, err := kindOfCollection(kinds, collection)
		if err != nil {
			return nil, nil, err
		}
		kinds = []*recordKind{k}
	}
	conn, err := a.dial()
	if err != nil {
		return nil, nil, err
	}
	for _, k := range kinds {
		r, err := k.get(ctx, conn, k.collection+"/"+id.String())
		if err == nil {
			return k, r, nil
		}
		if named || status.Code(err) != codes.NotFound {
			return nil, nil, err
		}
	}
	return nil, nil, &failure{code: exitUnknown, message: "no record has the id " + typed}
}

// kindOfCollection finds the kind that a collection or the word of a kind names.
func kindOfCollection(kinds []*recordKind, word string) (*recordKind, error) {
	var words []string
	for _, k := range kinds {
		if word == k.collection || word == ledger.RecordKinds.Name(k.kind) {
			return k, nil
		}
		words = append(words, k.collection)
	}
	if n, ok := nearest.Name(word, words); ok {
		return nil, usage("%q is not a kind of record; did you mean %s?", word, n)
	}
	return nil, usage("%q is not a kind of record; expected one of %s", word, strings.Join(words, ", "))
}
