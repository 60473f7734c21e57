package csvfolder

import (
	"context"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func calibrations() *kind {
	return &kind{
		file:  "calibrations.csv",
		needs: []string{"tools.csv"},
		columns: join(required("id", "serial", "at", "phase"), numbers("target_n_m"), lists(true, "readings_n_m"),
			columnsOf(false, true, []string{"expanded_uncertainty_n_m", "coverage_factor"}),
			optional("laboratory", "certificate", "document", "decision_rule", "stated_verdict"),
			columnsOf(false, true, []string{"air_c", "humidity_pct", "device_uncertainty_pct"}), optional("person", "device", "note")),
		fields: entryFields(map[string]string{
			"tool": "serial", "points": "target_n_m", "points.phase": "phase", "points.target_newton_metres": "target_n_m",
			"points.readings_newton_metres": "readings_n_m", "points.coverage_factor": "coverage_factor",
			"points.expanded_uncertainty_newton_metres": "expanded_uncertainty_n_m",
			"air_celsius": "air_c", "humidity_percent": "humidity_pct", "device_uncertainty_percent": "device_uncertainty_pct",
		}),
		resources: map[string]string{"tools": "serial", "people": "person", "calibrations": "id"},
		read:      readCalibrations,
		send: func(ctx context.Context, conn grpc.ClientConnInterface, batch []*Item, validateOnly bool) ([]*pb.Outcome, error) {
			return outcomes(pb.NewToolServiceClient(conn).RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{
				Calibrations: messages[*pb.Calibration](batch), ValidateOnly: validateOnly}))
		},
	}
}

// readCalibrations gathers the lines of one id: each is one test point in one
// phase, and all must agree on the rest.
func readCalibrations(f *folder, k *kind, problems *csvfile.Problems, emit func(*Item) error) error {
	gathered := newMerger()
	err := f.scan(k, problems, func(row *csvfile.Row) error {
		name := recordName(row, "calibrations")
		head := &pb.Calibration{
			Name:                     name,
			Tool:                     resource(row, "serial", "tools", true),
			Laboratory:               row.Text("laboratory"),
			Certificate:              row.Text("certificate"),
			Document:                 pb.CalibrationDocument(word(row, "document", ledger.CalibrationDocuments)),
			DecisionRule:             pb.DecisionRule(word(row, "decision_rule", ledger.DecisionRules)),
			StatedVerdict:            pb.Verdict(word(row, "stated_verdict", ledger.Verdicts)),
			AirCelsius:               row.Number("air_c"),
			HumidityPercent:          row.Number("humidity_pct"),
			DeviceUncertaintyPercent: row.AboveZero("device_uncertainty_pct"),
			Entry:                    entry(row, false),
		}
		point := calibrationPoint(row)
		item := gathered.item(row, name, func() *Item { return newItem(row, name, head) })
		if item == nil {
			return nil
		}
		calibration := item.Message.(*pb.Calibration)
		if first := gathered.first(name); first != row {
			sameCalibration(row, first, calibration, head)
		}
		if row.Bad() {
			gathered.spoil(name)
			return nil
		}
		if len(calibration.Points) > 0 {
			item.rows = append(item.rows, row)
		}
		calibration.Points = append(calibration.Points, point)
		return nil
	})
	if err != nil {
		return err
	}
	return gathered.emit(emit)
}

func calibrationPoint(row *csvfile.Row) *pb.CalibrationPoint {
	point := &pb.CalibrationPoint{
		Phase:                           pb.CalibrationPhase(requiredWord(row, "phase", ledger.CalibrationPhases)),
		TargetNewtonMetres:              row.RequiredNumber("target_n_m"),
		ReadingsNewtonMetres:            row.Numbers("readings_n_m"),
		ExpandedUncertaintyNewtonMetres: row.AboveZero("expanded_uncertainty_n_m"),
		CoverageFactor:                  row.AboveZero("coverage_factor"),
	}
	if row.Text("readings_n_m") == "" {
		row.Required("readings_n_m", "readings parted by semicolons")
	}
	return point
}

// sameCalibration notes where a line differs from the first of its id.
func sameCalibration(row, first *csvfile.Row, have, got *pb.Calibration) {
	for _, c := range []struct {
		column string
		same   bool
	}{
		{"serial", have.GetTool() == got.GetTool()},
		{"at", proto.Equal(have.GetEntry().GetOccurTime(), got.GetEntry().GetOccurTime()) &&
			have.GetEntry().GetUtcOffsetMinutes() == got.GetEntry().GetUtcOffsetMinutes()},
		{"laboratory", have.GetLaboratory() == got.GetLaboratory()},
		{"certificate", have.GetCertificate() == got.GetCertificate()},
		{"document", have.GetDocument() == got.GetDocument()},
		{"decision_rule", have.GetDecisionRule() == got.GetDecisionRule()},
		{"stated_verdict", have.GetStatedVerdict() == got.GetStatedVerdict()},
		{"air_c", sameNumber(have.AirCelsius, got.AirCelsius)},
		{"humidity_pct", sameNumber(have.HumidityPercent, got.HumidityPercent)},
		{"device_uncertainty_pct", have.GetDeviceUncertaintyPercent() == got.GetDeviceUncertaintyPercent()},
		{"person", have.GetEntry().GetPerson() == got.GetEntry().GetPerson()},
		{"device", have.GetEntry().GetDevice() == got.GetEntry().GetDevice()},
		{"note", have.GetEntry().GetNote() == got.GetEntry().GetNote()},
	} {
		if !c.same {
			row.Fail(c.column, "expected %s as in line %d, which has the same id, got %s",
				csvfile.Quote(first.Text(c.column)), first.Line, csvfile.Quote(row.Text(c.column)))
		}
	}
}

func sameNumber(a, b *float64) bool {
	if a == nil || b == nil {
		return a == b
	}
	return *a == *b
}
