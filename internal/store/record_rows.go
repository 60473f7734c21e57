package store

import (
	"context"
	"encoding/json"

	"jointledger/ent/column"
	"jointledger/internal/ledger"
)

// recordTables are written in this order: a row is there before what refers to
// it.
var recordTables = []insertTable{
	recordsTable, tighteningsTable, incidentsTable, calibrationsTable, movementsTable, sealingsTable,
	inspectionsTable, custodiesTable, holdsTable, dispositionsTable, signOffsTable, correctionsTable, toolChecksTable, alarmsTable, findingsTable,
}

// writeRows writes the rows and their findings, what they add to the running
// sums, and the heads of the chains.
func (t *tx) writeRows(ctx context.Context, rows []*staged, chains map[int]*chainHead) error {
	values := map[string][]any{
		recordsTable.name: make([]any, 0, len(rows)*len(recordsTable.columns)), tighteningsTable.name: make([]any, 0, len(rows)*len(tighteningsTable.columns)),
	}
	for _, r := range rows {
		if err := r.appendTo(values); err != nil {
			return err
		}
	}
	return t.pipelined(ctx, func() error {
		for _, table := range recordTables {
			if err := t.insertRows(ctx, table, values[table.name]); err != nil {
				return err
			}
		}
		if err := t.addSums(ctx, rows); err != nil {
			return err
		}
		for site, head := range chains {
			if !head.moved {
				continue
			}
			if err := t.put(ctx, t.insert.head, []any{head.sequence, head.link[:], site}); err != nil {
				return err
			}
		}
		return nil
	})
}

// appendTo appends the row's values to those of its tables.
func (r *staged) appendTo(values map[string][]any) error {
	e := r.Head()
	uid := e.ID
	values[recordsTable.name] = append(values[recordsTable.name],
		r.id, uid[:], uint8(r.RecordKind()), r.keys.site, nullable(r.keys.joint), nullable(r.lot), nullable(r.tool), nullable(r.person),
		micro(e.OccurTime), e.OffsetMinutes, e.LocalDay, micro(e.ReceiveTime), e.Device, e.Note, flag(e.Offline), e.Link[:])
	for _, f := range r.findings {
		values[findingsTable.name] = append(values[findingsTable.name],
			r.id, f.Rule, uint8(f.Severity), f.Message, optional(f.Figure), optional(f.Limit), f.Unit, f.Source)
	}
	switch rec := r.Record.(type) {
	case *ledger.Tightening:
		var torque any
		if rec.TorqueNewtonMetres != nil {
			torque = *rec.TorqueNewtonMetres
		}
		values[tighteningsTable.name] = append(values[tighteningsTable.name],
			r.id, r.revision, uint8(rec.Treatment), rec.CompoundBatch, torque, rec.TorqueAsTyped, rec.Fasteners, uint8(rec.Pass), uint8(rec.Method))
	case *ledger.Incident:
		values[incidentsTable.name] = append(values[incidentsTable.name],
			r.id, nullable(r.revision), uint8(rec.Kind), rec.Fasteners, uint8(rec.Treatment), uint8(rec.Method), rec.Noticed, rec.Action)
	case *ledger.Calibration:
		points, err := json.Marshal(pointColumns(rec.Points))
		if err != nil {
			return err
		}
		verdict, err := verdictColumn(rec.Verdict)
		if err != nil {
			return err
		}
		values[calibrationsTable.name] = append(values[calibrationsTable.name], r.id, rec.Laboratory, rec.Certificate, string(points),
			uint8(rec.Document), uint8(rec.Rule), uint8(rec.StatedVerdict), optional(rec.AirCelsius), optional(rec.HumidityPercent), rec.DeviceUncertaintyPercent, verdict)
	case *ledger.LotMovement:
		values[movementsTable.name] = append(values[movementsTable.name], r.id, uint8(rec.Kind), rec.Quantity, rec.Reference, rec.HandledBy)
	default:
		return r.appendSiteRecord(values)
	}
	return nil
}

// appendSiteRecord is appendTo for the kinds that are few.
func (r *staged) appendSiteRecord(values map[string][]any) error {
	add := func(t insertTable, row ...any) { values[t.name] = append(values[t.name], row...) }
	switch rec := r.Record.(type) {
	case *ledger.Sealing:
		var clean, straight any
		if !rec.CleanTime.IsZero() {
			clean = micro(rec.CleanTime)
		}
		if rec.FlangeStraight != nil {
			straight = *rec.FlangeStraight
		}
		add(sealingsTable, r.id, r.revision, rec.Sealant, rec.Batch, rec.WidthMillimetres, rec.Solvent, clean,
			optional(rec.AirCelsius), optional(rec.SurfaceCelsius), optional(rec.HumidityPercent), uint8(rec.Splice), straight)
	case *ledger.Inspection:
		readings, err := json.Marshal(append([]float64{}, rec.ReadingsNewtonMetres...))
		if err != nil {
			return err
		}
		add(inspectionsTable, r.id, uint8(rec.Kind), rec.Sample, rec.Plan, string(readings), uint8(rec.Result))
	case *ledger.Custody:
		add(custodiesTable, r.id, uint8(rec.Kind), nullable(r.holder), nullable(r.override), rec.OverrideReason)
	case *ledger.ToolCheck:
		add(toolChecksTable, r.id, uint8(rec.Action), uint8(rec.Result), rec.Certificate)
	case *ledger.Alarm:
		add(alarmsTable, r.id, r.alarmRule, uint8(rec.Test), rec.Statistic, rec.Threshold, rec.Failures, rec.Attempts, rec.Sentence, r.about.id)
	case *ledger.Hold:
		var cause, released any
		if r.cause != nil {
			cause = r.cause.id
		}
		if rec.Action == ledger.HoldReleased {
			released = r.about.id
		}
		cell := 0
		if rec.Place.Depth() == 3 {
			cell = r.keys.cell
		}
		add(holdsTable, r.id, uint8(rec.Action), nullable(cell), nullable(r.keys.joint), nullable(r.lot), nullable(r.tool),
			rec.Reason, rec.Rule, cause, released, uint8(rec.Decision))
	case *ledger.Disposition:
		add(dispositionsTable, r.id, r.about.id, uint8(rec.Decision), rec.Reason)
	case *ledger.SignOff:
		var tower, cell any
		switch rec.Place.Depth() {
		case 2:
			tower = r.keys.tower
		case 3:
			cell = r.keys.cell
		}
		add(signOffsTable, r.id, tower, cell, uint8(rec.Point), rec.Title)
	case *ledger.Correction:
		var replacement any
		if r.with != nil {
			replacement = r.with.id
		}
		add(correctionsTable, r.id, r.about.id, replacement, rec.Reason)
	}
	return nil
}

// flag is a column that says yes or no as a number.
func flag(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

func optional(v *float64) any {
	if v == nil {
		return nil
	}
	return *v
}

func nullable(key int) any {
	if key == 0 {
		return nil
	}
	return key
}

// verdictColumn is a calibration's verdict as it is kept; nothing for none.
func verdictColumn(v *ledger.CalibrationVerdict) (any, error) {
	if v == nil {
		return nil, nil
	}
	kept, err := json.Marshal(column.Verdict{
		Rule: uint8(v.Rule), Edition: v.Edition, LimitPercent: v.LimitPercent, AsFound: uint8(v.AsFound), AsLeft: uint8(v.AsLeft),
		WorstAsFoundPercent: v.WorstAsFoundPercent, WorstAsLeftPercent: v.WorstAsLeftPercent,
		ConformityProbability: v.ConformityProbability, TestUncertaintyRatio: v.TestUncertaintyRatio, Deficiencies: v.Deficiencies,
	})
	return string(kept), err
}

// verdictOf is verdictColumn's inverse.
func verdictOf(kept []byte) (*ledger.CalibrationVerdict, error) {
	if kept == nil {
		return nil, nil
	}
	var v column.Verdict
	if err := json.Unmarshal(kept, &v); err != nil {
		return nil, err
	}
	return &ledger.CalibrationVerdict{
		Rule: ledger.DecisionRule(v.Rule), Edition: v.Edition, LimitPercent: v.LimitPercent, AsFound: ledger.Verdict(v.AsFound), AsLeft: ledger.Verdict(v.AsLeft),
		WorstAsFoundPercent: v.WorstAsFoundPercent, WorstAsLeftPercent: v.WorstAsLeftPercent,
		ConformityProbability: v.ConformityProbability, TestUncertaintyRatio: v.TestUncertaintyRatio, Deficiencies: v.Deficiencies,
	}, nil
}

func pointColumns(points []ledger.CalibrationPoint) []column.Point {
	columns := make([]column.Point, len(points))
	for i, p := range points {
		columns[i] = column.Point{
			Phase: uint8(p.Phase), Target: p.TargetNewtonMetres, Readings: p.ReadingsNewtonMetres,
			ExpandedUncertainty: p.ExpandedUncertaintyNewtonMetres, CoverageFactor: p.CoverageFactor,
		}
	}
	return columns
}

func pointsOf(columns []column.Point) []ledger.CalibrationPoint {
	points := make([]ledger.CalibrationPoint, len(columns))
	for i, p := range columns {
		points[i] = ledger.CalibrationPoint{
			Phase: ledger.CalibrationPhase(p.Phase), TargetNewtonMetres: p.Target, ReadingsNewtonMetres: p.Readings,
			ExpandedUncertaintyNewtonMetres: p.ExpandedUncertainty, CoverageFactor: p.CoverageFactor,
		}
	}
	return points
}
