package csvfolder

import (
	"context"

	"google.golang.org/grpc"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// workNeeds are the files that records of the work name things of.
var workNeeds = []string{"sites.csv", "people.csv", "lots.csv", "tools.csv", jointsFile}

func lotMovements() *kind {
	return &kind{
		file:      "lot_movements.csv",
		needs:     []string{"sites.csv", "lots.csv"},
		columns:   join(required("id", "lot", "site", "kind"), numbers("quantity"), required("at"), optional("by", "reference", "person", "device", "note")),
		fields:    entryFields(map[string]string{"handled_by": "by"}),
		resources: map[string]string{"lots": "lot", "sites": "site", "people": "person", "lotMovements": "id"},
		decode: func(row *csvfile.Row) *Item {
			name := recordName(row, "lotMovements")
			movement := requiredWord(row, "kind", ledger.MovementKinds)
			least := int64(1)
			if movement == ledger.MovementCounted {
				least = 0
			}
			return newItem(row, name, &pb.LotMovement{
				Name:      name,
				Lot:       resource(row, "lot", "lots", true),
				Site:      siteResource(row, "site", true),
				Kind:      pb.MovementKind(movement),
				Quantity:  row.RequiredWhole("quantity", least, ledger.MaxQuantity),
				HandledBy: row.Text("by"),
				Reference: row.Text("reference"),
				Entry:     entry(row, false),
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewLotServiceClient(conn).RecordLotMovements(ctx, &pb.RecordLotMovementsRequest{
				LotMovements: messages[*pb.LotMovement](batch), ValidateOnly: validateOnly}))
		},
	}
}

func tightenings() *kind {
	return &kind{
		file:  "tightenings.csv",
		needs: workNeeds,
		columns: join(required("id", "site", "tower", "cell", "joint", "at", "person", "lot", "treatment"), optional("batch", "tool"),
			columnsOf(false, true, []string{"torque_n_m"}), numbers("fasteners"), required("pass", "method"),
			optional("torque_as_typed", "device", "note")),
		fields: entryFields(map[string]string{
			"compound_batch": "batch", "torque_newton_metres": "torque_n_m", "driving_method": "method",
		}),
		resources: map[string]string{"sites": "site", "lots": "lot", "tools": "tool", "people": "person", "tightenings": "id"},
		decode: func(row *csvfile.Row) *Item {
			name := recordName(row, "tightenings")
			return newItem(row, name, &pb.Tightening{
				Name:               name,
				Joint:              place(row, 4).Resource(),
				Lot:                resource(row, "lot", "lots", true),
				Treatment:          pb.Treatment(requiredWord(row, "treatment", ledger.Treatments)),
				CompoundBatch:      row.Text("batch"),
				Tool:               resource(row, "tool", "tools", false),
				TorqueNewtonMetres: notNegative(row, "torque_n_m"),
				TorqueAsTyped:      row.Text("torque_as_typed"),
				Fasteners:          int32(row.RequiredWhole("fasteners", 1, ledger.MaxFasteners)),
				Pass:               pb.Pass(requiredWord(row, "pass", ledger.Passes)),
				DrivingMethod:      pb.DrivingMethod(requiredWord(row, "method", ledger.DrivingMethods)),
				Entry:              entry(row, true),
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewAssemblyServiceClient(conn).RecordTightenings(ctx, &pb.RecordTighteningsRequest{
				Tightenings: messages[*pb.Tightening](batch), ValidateOnly: validateOnly}))
		},
	}
}

// notNegative reads a number of at least 0; nil when the cell is empty or wrong.
func notNegative(row *csvfile.Row, column string) *float64 {
	v := row.Number(column)
	if v != nil && *v < 0 {
		row.Fail(column, "expected a number of at least 0, got %s", csvfile.Quote(row.Text(column)))
		return nil
	}
	return v
}

func incidents() *kind {
	return &kind{
		file:  "incidents.csv",
		needs: workNeeds,
		columns: join(required("id", "site", "tower", "cell", "joint", "at", "person", "kind"), numbers("fasteners"),
			required("lot", "treatment", "method"), optional("tool", "noticed", "action", "device", "note")),
		fields:    entryFields(map[string]string{"driving_method": "method"}),
		resources: map[string]string{"sites": "site", "lots": "lot", "tools": "tool", "people": "person", "incidents": "id"},
		decode:    decodeIncident,
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewAssemblyServiceClient(conn).RecordIncidents(ctx, &pb.RecordIncidentsRequest{
				Incidents: messages[*pb.Incident](batch), ValidateOnly: validateOnly}))
		},
	}
}

// decodeIncident reads an incident. One that is no thread failure may stand at a
// site, its joint, lot, treatment and method left empty.
func decodeIncident(row *csvfile.Row) *Item {
	name := recordName(row, "incidents")
	what := requiredWord(row, "kind", ledger.IncidentKinds)
	incident := &pb.Incident{
		Name:    name,
		Kind:    pb.IncidentKind(what),
		Lot:     resource(row, "lot", "lots", what.ThreadFailure()),
		Tool:    resource(row, "tool", "tools", what == ledger.DroppedTool),
		Noticed: row.Text("noticed"),
		Action:  row.Text("action"),
		Entry:   entry(row, true),
	}
	if what.ThreadFailure() {
		incident.Treatment = pb.Treatment(requiredWord(row, "treatment", ledger.Treatments))
		incident.DrivingMethod = pb.DrivingMethod(requiredWord(row, "method", ledger.DrivingMethods))
		incident.Fasteners = int32(row.RequiredWhole("fasteners", 1, ledger.MaxFasteners))
	} else {
		incident.Treatment = pb.Treatment(word(row, "treatment", ledger.Treatments))
		incident.DrivingMethod = pb.DrivingMethod(word(row, "method", ledger.DrivingMethods))
		incident.Fasteners = int32(row.Whole("fasteners", 0, ledger.MaxFasteners))
	}
	atSite := row.Text("tower") == "" && row.Text("cell") == "" && row.Text("joint") == ""
	if atSite && !what.ThreadFailure() {
		incident.Site = siteResource(row, "site", true)
	} else {
		incident.Joint = place(row, 4).Resource()
	}
	return newItem(row, name, incident)
}
