package store

import (
	"context"
	"database/sql"
	"slices"
	"strings"
	"time"
	"unicode"

	"jointledger/internal/visible"
)

// AuditOutcome is what became of what somebody wanted.
type AuditOutcome uint8

// Outcomes in the audit record. Their numbers are kept and never used again for another.
const (
	AuditDone AuditOutcome = iota + 1
	// AuditFailed is an act that its maker might do, and that did not come about.
	AuditFailed
	// AuditDenied is what a known principal may not do.
	AuditDenied
	// AuditUnauthenticated is a call of which it is not known whose it was.
	AuditUnauthenticated
)

var auditWords = map[AuditOutcome]string{AuditDone: "done", AuditFailed: "failed", AuditDenied: "denied", AuditUnauthenticated: "unauthenticated"}

// String is the outcome's word.
func (o AuditOutcome) String() string { return auditWords[o] }

// AuditEntry is an administrative act or a refusal. Its texts are as they were said, so
// they may be anything: what is kept of them is cut, and has no control characters.
type AuditEntry struct {
	// Time is when it happened; for several alike in one entry, Last is when the last
	// did, and Times how many they were.
	Time, Last time.Time
	Times      int64
	// Principal is whose act it was; empty for nobody known. Credential is the id of
	// what it showed.
	Principal, Credential string
	// Peer is the address that the call came from.
	Peer string
	// Act is the method that was called, or the command; Object what it was about.
	Act, Object string
	Outcome     AuditOutcome
	Detail      string
	RequestID   string
}

// The longest texts that are kept, characters.
const (
	longestAuditName   = 256
	longestAuditDetail = 1000
)

// keptText is text as it can be kept on both engines and shown on a terminal.
func keptText(text string, longest int) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) { // some of the latter turn the order of what is shown
			return unicode.ReplacementChar
		}
		return r
	}, strings.ToValidUTF8(text, string(unicode.ReplacementChar)))
	if r := []rune(text); len(r) > longest {
		return string(r[:longest-1]) + "…"
	}
	return text
}

// writeAudit adds entries to the audit record. They are in no site's chain: they say what
// was done with the system, not what was built, and belong to no site.
func (t *tx) writeAudit(ctx context.Context, entries []AuditEntry) error {
	for _, e := range entries {
		if e.Last.IsZero() {
			e.Last = e.Time
		}
		err := t.exec(ctx, `INSERT INTO audit_entries (create_time, last_time, times, principal, credential, peer, act, object, outcome, detail, request_id)
VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			micro(e.Time), micro(e.Last), max(e.Times, 1), keptText(e.Principal, longestAuditName), keptText(e.Credential, longestAuditName), keptText(e.Peer, longestAuditName),
			keptText(e.Act, longestAuditName), keptText(e.Object, longestAuditName), uint8(e.Outcome), keptText(e.Detail, longestAuditDetail), keptText(e.RequestID, longestAuditName))
		if err != nil {
			return err
		}
	}
	return nil
}

// AuditFilter narrows the audit record.
type AuditFilter struct {
	// Since leaves out what ended before.
	Since time.Time
	// Principal is whose acts are wanted, or which one they were about; empty for all.
	Principal string
	// Refused leaves only what was denied or came from nobody known.
	Refused bool
	// Limit is the most that are given, the newest ones; 0 for all.
	Limit int
}

// AuditEntries reads the audit record, in the order in which it was kept.
func (s *Store) AuditEntries(ctx context.Context, f AuditFilter) (entries []AuditEntry, err error) {
	where, args := "1 = 1", []any{}
	if !f.Since.IsZero() {
		where, args = where+" AND last_time >= ?", append(args, micro(f.Since))
	}
	if f.Principal != "" {
		where, args = where+" AND (principal = ? OR object = ?)", append(args, askable(f.Principal), askable(principalName(f.Principal)))
	}
	if f.Refused {
		where, args = where+" AND outcome IN (?, ?)", append(args, AuditDenied, AuditUnauthenticated)
	}
	query := `SELECT create_time, last_time, times, principal, credential, peer, act, object, outcome, detail, request_id
FROM audit_entries WHERE ` + where + " ORDER BY id DESC"
	if f.Limit > 0 {
		query, args = query+" LIMIT ?", append(args, f.Limit)
	}
	err = s.viewLong(visible.Everything(ctx), func(t *tx) error {
		return t.query(ctx, func(rows *sql.Rows) error {
			var e AuditEntry
			var first, last int64
			err := rows.Scan(&first, &last, &e.Times, &e.Principal, &e.Credential, &e.Peer, &e.Act, &e.Object, &e.Outcome, &e.Detail, &e.RequestID)
			e.Time, e.Last = fromMicro(first), fromMicro(last)
			entries = append(entries, e)
			return err
		}, query, args...)
	})
	slices.Reverse(entries)
	return entries, err
}
