package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
)

// Attachment says that a content, such as a photo or a certificate, belongs to
// a record.
type Attachment struct {
	// SHA256 of the content; its name.
	SHA256 [32]byte
	// Record is its resource name.
	Record string
	// FileName as given, at most 200 characters.
	FileName  string
	MediaType string
	Size      int64 // bytes
	// CreateTime is when it was attached; given by the store.
	CreateTime time.Time
}

func (a Attachment) resource() string { return "attachments/" + hex.EncodeToString(a.SHA256[:]) }

// blobPart is how many bytes of a content stand in one row: few rows, and none
// that a reader has to hold whole.
const blobPart = 256 << 10

// validate gives every field that is wrong.
func (a Attachment) validate(content []byte) []ledger.FieldError {
	var fields []ledger.FieldError
	add := func(field, description string) {
		fields = append(fields, ledger.FieldError{Field: field, Description: description})
	}
	for _, text := range []struct{ field, value string }{{"file_name", a.FileName}, {"media_type", a.MediaType}} {
		switch {
		case text.value == "":
			add(text.field, "is required")
		case !utf8.ValidString(text.value) || strings.ContainsFunc(text.value, unicode.IsControl):
			add(text.field, "has characters that are no text")
		case utf8.RuneCountInString(text.value) > 200:
			add(text.field, "is longer than 200 characters")
		}
	}
	if len(content) == 0 {
		add("chunk", "the content is empty")
	}
	return fields
}

// Attach keeps a content and says that it belongs to the record of the kind and
// id. File name and media type are the caller's; the rest of a is given by the
// store. A content is kept once, under its SHA-256, however often it is
// attached; attaching it to the same record again changes nothing and gives what
// is kept. The content must not be changed afterwards: when the context ends
// first, it may still be kept later. Errors: KindInvalid; KindNotFound when there
// is no such record.
func (s *Store) Attach(ctx context.Context, kind ledger.RecordKind, id uuid.UUID, a Attachment, content []byte) (Attachment, error) {
	if err := ledger.Invalid("attachment", a.validate(content)); err != nil {
		return Attachment{}, err
	}
	a.SHA256, a.Record, a.Size = sha256.Sum256(content), ledger.RecordName(kind, id), int64(len(content))
	var kept Attachment
	err := s.change(ctx, Change{}, func(t *tx) error {
		record, err := t.recordKey(ctx, kind, id)
		if err != nil {
			return err
		}
		known, err := t.attachments(ctx, []any{record}, &a.SHA256)
		if err != nil {
			return err
		}
		if of := known[record]; len(of) > 0 {
			kept = of[0]
			return nil
		}
		if err := t.keepBlob(ctx, a.SHA256, content); err != nil {
			return err
		}
		fresh := a
		fresh.CreateTime = t.now
		kept = fresh
		return t.exec(ctx, "INSERT INTO attachments (record_id, sha256, file_name, media_type, size, create_time) VALUES "+marks(1, 6),
			record, fresh.SHA256[:], fresh.FileName, fresh.MediaType, fresh.Size, micro(fresh.CreateTime))
	})
	if err != nil {
		return Attachment{}, err // and leave kept alone: see Store.change
	}
	return kept, nil
}

// recordKey looks up the key of a record that must exist.
func (t *tx) recordKey(ctx context.Context, kind ledger.RecordKind, id uuid.UUID) (key int64, err error) {
	var c clause
	c.add("r.uid = ? AND r.kind = ?", id[:], uint8(kind))
	t.addVisibleRecords(&c, 0)
	err = t.sql.QueryRowContext(ctx, t.engine.bind("SELECT r.id FROM records r"+c.where()), c.args...).Scan(&key)
	if errors.Is(err, sql.ErrNoRows) {
		return 0, ledger.NotFound(strings.ReplaceAll(ledger.RecordKinds.Name(kind), "-", " "), ledger.RecordName(kind, id), "")
	}
	return key, err
}

// keepBlob keeps a content in parts, unless it is kept already.
func (t *tx) keepBlob(ctx context.Context, sum [32]byte, content []byte) error {
	var parts int
	err := t.sql.QueryRowContext(ctx, t.engine.bind("SELECT count(*) FROM blobs WHERE sha256 = ?"), sum[:]).Scan(&parts)
	if err != nil || parts > 0 {
		return err
	}
	for part := 0; len(content) > 0; part++ {
		n := min(blobPart, len(content))
		if err := t.exec(ctx, "INSERT INTO blobs (sha256, part, content) VALUES "+marks(1, 3), sum[:], part, content[:n]); err != nil {
			return err
		}
		content = content[n:]
	}
	return nil
}

// attachments reads what is attached to records, by the records' keys, oldest
// first; only the content of a sum when that is given.
func (t *tx) attachments(ctx context.Context, records []any, sum *[32]byte) (map[int64][]Attachment, error) {
	found := map[int64][]Attachment{}
	err := t.queryIn(ctx, func(rows *sql.Rows) error {
		var a Attachment
		var record, created int64
		var kind ledger.RecordKind
		var uid, sha []byte
		if err := rows.Scan(&record, &uid, &kind, &sha, &a.FileName, &a.MediaType, &a.Size, &created); err != nil {
			return err
		}
		copy(a.SHA256[:], sha)
		if sum != nil && a.SHA256 != *sum {
			return nil
		}
		a.Record, a.CreateTime = ledger.RecordName(kind, uuid.UUID(uid)), fromMicro(created)
		found[record] = append(found[record], a)
		return nil
	}, `SELECT x.record_id, r.uid, r.kind, x.sha256, x.file_name, x.media_type, x.size, x.create_time
FROM attachments x JOIN records r ON r.id = x.record_id WHERE x.record_id`, records, " ORDER BY x.record_id, x.id")
	return found, err
}

// Attachments lists what is attached to a record, oldest first. KindNotFound
// when there is no such record.
func (s *Store) Attachments(ctx context.Context, kind ledger.RecordKind, id uuid.UUID) (items []Attachment, err error) {
	err = s.view(ctx, func(t *tx) error {
		record, err := t.recordKey(ctx, kind, id)
		if err != nil {
			return err
		}
		found, err := t.attachments(ctx, []any{record}, nil)
		items = found[record]
		return err
	})
	return items, err
}

// AttachmentContent reads a content by its SHA-256 and gives it in parts, in
// order. Each part is read by itself and nothing of the database is held while
// the caller has it, however slowly it is sent on: a content never changes once
// it is kept. An error of part ends it and is returned as it is. KindNotFound when
// nothing of this sum is attached; KindInternal when what is kept is damaged,
// which is known only after the last part.
func (s *Store) AttachmentContent(ctx context.Context, sum [32]byte, part func([]byte) error) error {
	hash, given := sha256.New(), 0
	for from := 0; ; given++ {
		content, next, err := s.nextPart(ctx, sum, from)
		if err != nil {
			return err
		}
		if next == 0 {
			break
		}
		hash.Write(content)
		if err := part(content); err != nil {
			return err
		}
		from = next
	}
	switch {
	case given == 0:
		return ledger.NotFound("attachment", Attachment{SHA256: sum}.resource(), "")
	case [32]byte(hash.Sum(nil)) != sum:
		return s.fault(fmt.Errorf("the content kept under %x has another sum", sum))
	}
	return nil
}

// nextPart reads the first part of a content at or after a number, and gives the
// number after it; 0 when there is none.
func (s *Store) nextPart(ctx context.Context, sum [32]byte, from int) (content []byte, next int, err error) {
	err = s.view(ctx, func(t *tx) error {
		var c clause
		c.add("b.sha256 = ? AND b.part >= ?", sum[:], from)
		// A content is the records' to which it is attached.
		if only := t.visibleRecords(0); only != "" {
			c.add("EXISTS (SELECT 1 FROM attachments x JOIN records r ON r.id = x.record_id WHERE x.sha256 = b.sha256 AND " + only + ")")
		}
		return t.query(ctx, func(rows *sql.Rows) error {
			err := rows.Scan(&next, &content)
			next++
			return err
		}, "SELECT b.part, b.content FROM blobs b"+c.where()+" ORDER BY b.part LIMIT 1", c.args...)
	})
	return content, next, err
}
