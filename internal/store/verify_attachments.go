package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"fmt"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

// verifyAttachments reads every content again, compares it with its SHA-256, and
// looks for the content of every attachment.
func (t *tx) verifyAttachments(ctx context.Context) (problems []string, err error) {
	report := func(format string, args ...any) {
		if len(problems) < mostProblems {
			problems = append(problems, fmt.Sprintf(format, args...))
		}
	}
	var sums [][]byte
	err = t.query(ctx, func(rows *sql.Rows) error {
		var sum []byte
		err := rows.Scan(&sum)
		sums = append(sums, sum)
		return err
	}, "SELECT DISTINCT sha256 FROM blobs ORDER BY sha256")
	if err != nil {
		return nil, err
	}
	sizes := map[string]int64{} // of the contents that are whole
	for _, sum := range sums {
		size, whole, err := t.readBlob(ctx, sum)
		if err != nil {
			return nil, err
		}
		if whole {
			sizes[string(sum)] = size
		} else {
			report("the content kept as %x has another SHA-256: it was changed, or a part of it is missing", sum)
		}
	}
	err = t.query(ctx, func(rows *sql.Rows) error {
		var uid, sum []byte
		var kind ledger.RecordKind
		var name string
		var size int64
		if err := rows.Scan(&uid, &kind, &sum, &name, &size); err != nil {
			return err
		}
		kept, whole := sizes[string(sum)]
		record := "a record that is missing"
		if id, err := uuid.FromBytes(uid); err == nil && ledger.RecordKinds.Known(kind) {
			record = ledger.RecordName(kind, id)
		}
		switch {
		case !whole:
			report("attachment %q of %s: its content %x is not there, or not whole", name, record, sum)
		case kept != size:
			report("attachment %q of %s: its size is kept as %d bytes, its content has %d", name, record, size, kept)
		}
		return nil
	}, "SELECT r.uid, COALESCE(r.kind, 0), x.sha256, x.file_name, x.size FROM attachments x LEFT JOIN records r ON r.id = x.record_id ORDER BY x.id")
	return problems, err
}

// readBlob reads a content part by part and says whether it is what its sum
// names.
func (t *tx) readBlob(ctx context.Context, sum []byte) (size int64, whole bool, err error) {
	hash := sha256.New()
	err = t.query(ctx, func(rows *sql.Rows) error {
		var content []byte
		err := rows.Scan(&content)
		size += int64(len(content))
		hash.Write(content)
		return err
	}, "SELECT content FROM blobs WHERE sha256 = ? ORDER BY part", sum)
	return size, string(hash.Sum(nil)) == string(sum), err
}
