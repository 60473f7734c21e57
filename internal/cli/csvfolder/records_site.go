package csvfolder

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func batches() *kind {
	return &kind{
		file:    "batches.csv",
		columns: join(required("batch", "kind"), optional("product", "expires"), columnsOf(false, true, []string{"min_c", "max_c"})),
		fields: map[string]string{
			"batch_id": "batch", "name": "batch", "expire_date": "expires", "minimum_celsius": "min_c", "maximum_celsius": "max_c",
		},
		resources: map[string]string{"batches": "batch"},
		decode: func(row *csvfile.Row) *Item {
			name := resource(row, "batch", "batches", true)
			return newItem(row, name, &pb.CreateBatchRequest{
				BatchId: ledger.ShortName(name),
				Batch: &pb.Batch{
					Kind:           pb.ConsumableKind(requiredWord(row, "kind", ledger.ConsumableKinds)),
					Product:        row.Text("product"),
					ExpireDate:     row.Date("expires"),
					MinimumCelsius: row.Number("min_c"),
					MaximumCelsius: row.Number("max_c"),
				},
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewConsumableServiceClient(conn).BatchCreateBatches(ctx, &pb.BatchCreateBatchesRequest{
				Requests: messages[*pb.CreateBatchRequest](batch), ValidateOnly: validateOnly}))
		},
	}
}

// custody reads changes of custody: column person is who holds the tool from then
// on, reported_by who reports it.
func custody() *kind {
	return &kind{
		file:    "custody.csv",
		needs:   []string{"sites.csv", "people.csv", "tools.csv"},
		columns: join(required("id", "serial", "kind", "site"), optional("person"), required("at"), optional("reported_by", "override_by", "override_reason", "device", "note")),
		fields: map[string]string{
			"name": "id", "tool": "serial", "holder": "person", "entry.occur_time": "at", "entry.utc_offset_minutes": "at",
			"entry.person": "reported_by", "entry.device": "device", "entry.note": "note",
		},
		resources: map[string]string{"tools": "serial", "sites": "site", "people": "person", "custodyChanges": "id"},
		decode: func(row *csvfile.Row) *Item {
			name := recordName(row, "custodyChanges")
			what := requiredWord(row, "kind", ledger.CustodyKinds)
			e := entry(row, false)
			e.Person = resource(row, "reported_by", "people", false)
			return newItem(row, name, &pb.CustodyChange{
				Name:           name,
				Tool:           resource(row, "serial", "tools", true),
				Kind:           pb.CustodyKind(what),
				Site:           siteResource(row, "site", true),
				Holder:         resource(row, "person", "people", what == ledger.CustodyIssued),
				OverrideBy:     resource(row, "override_by", "people", false),
				OverrideReason: row.Text("override_reason"),
				Entry:          e,
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewControlServiceClient(conn).RecordCustodyChanges(ctx, &pb.RecordCustodyChangesRequest{
				CustodyChanges: messages[*pb.CustodyChange](batch), ValidateOnly: validateOnly}))
		},
	}
}

func sealings() *kind {
	return &kind{
		file:  "sealings.csv",
		needs: []string{"sites.csv", "people.csv", jointsFile},
		columns: join(required("id", "site", "tower", "cell", "joint", "at", "person", "sealant"), optional("batch"),
			columnsOf(false, true, []string{"width_mm"}), optional("solvent", "cleaned_at"),
			columnsOf(false, true, []string{"air_c", "surface_c", "humidity_pct"}), optional("splices", "flange_straight", "device", "note")),
		fields: entryFields(map[string]string{
			"width_millimetres": "width_mm", "clean_time": "cleaned_at", "air_celsius": "air_c", "surface_celsius": "surface_c",
			"humidity_percent": "humidity_pct", "splice": "splices",
		}),
		resources: map[string]string{"sites": "site", "people": "person", "sealings": "id"},
		decode: func(row *csvfile.Row) *Item {
			name := recordName(row, "sealings")
			return newItem(row, name, &pb.Sealing{
				Name:             name,
				Joint:            place(row, 4).Resource(),
				Sealant:          row.Required("sealant", "the kind of sealant, such as strip"),
				Batch:            row.Text("batch"),
				WidthMillimetres: row.AboveZero("width_mm"),
				Solvent:          row.Text("solvent"),
				CleanTime:        optionalTime(row, "cleaned_at"),
				AirCelsius:       row.Number("air_c"),
				SurfaceCelsius:   row.Number("surface_c"),
				HumidityPercent:  row.Number("humidity_pct"),
				Splice:           pb.Splice(word(row, "splices", ledger.Splices)),
				FlangeStraight:   row.Bool("flange_straight"),
				Entry:            entry(row, true),
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewInspectionServiceClient(conn).RecordSealings(ctx, &pb.RecordSealingsRequest{
				Sealings: messages[*pb.Sealing](batch), ValidateOnly: validateOnly}))
		},
	}
}

// optionalTime reads a time with its zone; nil when the cell is empty or wrong.
func optionalTime(row *csvfile.Row, column string) *timestamppb.Timestamp {
	if row.Text(column) == "" {
		return nil
	}
	return timestamppb.New(row.RequiredTime(column))
}

func inspections() *kind {
	return &kind{
		file:  "inspections.csv",
		needs: []string{"sites.csv", "people.csv", "tools.csv", jointsFile},
		columns: join(required("id", "site", "tower", "cell", "joint", "at", "person", "kind"),
			columnsOf(false, true, []string{"sample"}), lists(false, "readings_n_m"), required("result"), optional("plan", "tool", "device", "note")),
		fields:    entryFields(map[string]string{"readings_newton_metres": "readings_n_m"}),
		resources: map[string]string{"sites": "site", "people": "person", "tools": "tool", "inspections": "id"},
		decode: func(row *csvfile.Row) *Item {
			name := recordName(row, "inspections")
			readings := row.Numbers("readings_n_m")
			sample := row.WholeAboveZero("sample", ledger.MaxFasteners)
			if row.Text("sample") == "" {
				sample = int64(len(readings))
			}
			return newItem(row, name, &pb.Inspection{
				Name:                 name,
				Joint:                place(row, 4).Resource(),
				Kind:                 pb.InspectionKind(requiredWord(row, "kind", ledger.InspectionKinds)),
				Sample:               int32(sample),
				Plan:                 row.Text("plan"),
				ReadingsNewtonMetres: readings,
				Result:               pb.InspectionResult(requiredWord(row, "result", ledger.InspectionResults)),
				Tool:                 resource(row, "tool", "tools", false),
				Entry:                entry(row, true),
			})
		},
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewInspectionServiceClient(conn).RecordInspections(ctx, &pb.RecordInspectionsRequest{
				Inspections: messages[*pb.Inspection](batch), ValidateOnly: validateOnly}))
		},
	}
}
