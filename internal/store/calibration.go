package store

import (
	"context"
	"errors"

	"github.com/google/uuid"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
)

// proving is true of a calibration's record r from which an interval is counted,
// as ledger.Proving has it: no declaration of conformance (1) with a calibration
// (3) before it. Calibrations that were corrected are none.
const proving = `NOT EXISTS (SELECT 1 FROM calibrations d JOIN records o ON o.tool_id = r.tool_id AND o.kind = 3
WHERE d.id = r.id AND d.document = 1 AND (o.occur_time < r.occur_time OR o.occur_time = r.occur_time AND o.id < r.id)
AND NOT EXISTS (SELECT 1 FROM corrections oc WHERE oc.corrected_id = o.id))`

// admitCalibration refuses a calibration that can't be true of its tool, or that
// comes with a certificate that proves another one, and computes the verdict.
// KindInvalid names every field that is wrong.
func (t *tx) admitCalibration(ctx context.Context, r *staged, c *ledger.Calibration, b admission) error {
	tool, err := tools.load(ctx, t, c.Tool)
	if err != nil {
		return err
	}
	wrong := analysis.CheckCalibration(tool, c, t.now)
	other, err := t.certified(ctx, c, r, b)
	if err != nil {
		return err
	}
	if other != uuid.Nil {
		wrong = append(wrong, analysis.CertificateTaken(c, other))
	}
	if err := ledger.Invalid("calibration", wrong); err != nil {
		return err
	}
	if c.Verdict, err = analysis.CalibrationVerdict(tool, c); err != nil {
		return err
	}
	if c.Certificate != "" {
		hash := certificateHash(c.Certificate)
		b.taken[hash] = append(b.taken[hash], c)
	}
	return nil
}

// ofReplacement gives the fields of a refused replacement the names that they have
// in the correction it comes with.
func ofReplacement(err error) error {
	var refused *ledger.Error
	if !errors.As(err, &refused) || len(refused.Fields) == 0 {
		return err
	}
	named := *refused
	named.Fields = make([]ledger.FieldError, len(refused.Fields))
	for i, f := range refused.Fields {
		named.Fields[i] = ledger.FieldError{Field: "replacement." + f.Field, Description: f.Description}
	}
	return &named
}
