package store

import (
	"context"
	"database/sql"
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

// certificateOf is a certificate of a laboratory, which proves one calibration.
type certificateOf struct{ laboratory, number string }

// admitCalibration refuses a calibration that can't be true of its tool, or that
// comes with a certificate that proves another one, and computes the verdict.
// KindInvalid names every field that is wrong.
func (t *tx) admitCalibration(ctx context.Context, r *staged, c *ledger.Calibration, b admission) error {
	tool, err := tools.load(ctx, t, c.Tool)
	if err != nil {
		return err
	}
	wrong := analysis.CheckCalibration(tool, c, t.now)
	certificate := certificateOf{c.Laboratory, c.Certificate}
	other, err := t.certified(ctx, certificate, r, b)
	if err != nil {
		return err
	}
	if other != uuid.Nil {
		wrong = append(wrong, ledger.FieldError{Field: "certificate", Description: "certificate " + c.Certificate + " of " + c.Laboratory +
			" is that of " + ledger.RecordName(ledger.KindCalibration, other) + " too; expected one certificate a calibration, or a correction of the other"})
	}
	if err := ledger.Invalid("calibration", wrong); err != nil {
		return err
	}
	if c.Verdict, err = analysis.CalibrationVerdict(tool, c); err != nil {
		return err
	}
	b.certificates[certificate] = c.ID
	return nil
}

// certified gives another calibration that the certificate proves already and
// that nobody took back; none when laboratory or number is not given, since then
// nobody can tell. The calibration that this one replaces does not count.
func (t *tx) certified(ctx context.Context, certificate certificateOf, r *staged, b admission) (uuid.UUID, error) {
	if certificate.laboratory == "" || certificate.number == "" {
		return uuid.Nil, nil
	}
	other := b.certificates[certificate]
	err := t.query(ctx, func(rows *sql.Rows) error {
		var id int64
		var uid []byte
		if err := rows.Scan(&id, &uid); err != nil {
			return err
		}
		if id != r.instead.id && !b.spoken[id] {
			other = idOf(uid)
		}
		return nil
	}, `SELECT r.id, r.uid FROM calibrations x JOIN records r ON r.id = x.id WHERE x.certificate = ? AND x.laboratory = ? AND `+notCorrected,
		certificate.number, certificate.laboratory)
	return other, err
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
