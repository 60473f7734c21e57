package main

import (
	"context"
	"database/sql"
	"encoding/hex"
	"net/url"
	"path/filepath"

	"github.com/google/uuid"
	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"
	_ "modernc.org/sqlite"             // the driver "sqlite"
)

// openRaw opens the database behind the server's back, to read it.
func openRaw(d database) (*sql.DB, error) {
	if d.dsn != "" {
		return sql.Open("pgx", d.dsn)
	}
	path := url.URL{Path: filepath.Join(d.folder, "jointledger.db")}
	return sql.Open("sqlite", "file:"+path.EscapedPath()+"?_pragma=query_only(1)&_pragma=busy_timeout(15000)")
}

// What must be empty in a database that is whole.
var mustBeEmpty = []struct{ what, query string }{
	{"records with one id", "SELECT count(*) FROM (SELECT uid FROM records GROUP BY uid HAVING count(*) > 1) AS twice"},
	{"contents that hang on no record", "SELECT count(*) FROM blobs b WHERE NOT EXISTS (SELECT 1 FROM attachments a WHERE a.sha256 = b.sha256)"},
	{"attachments whose record is missing", "SELECT count(*) FROM attachments a WHERE NOT EXISTS (SELECT 1 FROM records r WHERE r.id = a.record_id)"},
	{"contents attached twice to one record", "SELECT count(*) FROM (SELECT record_id, sha256 FROM attachments GROUP BY record_id, sha256 HAVING count(*) > 1) AS twice"},
}

// inspect reads the tables: nothing doubled, no content without a record, and every
// attachment that was acknowledged there.
func inspect(ctx context.Context, d database, a *answers, l *line) error {
	db, err := openRaw(d)
	if err != nil {
		return err
	}
	defer db.Close()
	for _, m := range mustBeEmpty {
		var n int
		if err := db.QueryRowContext(ctx, m.query).Scan(&n); err != nil {
			return err
		}
		if n > 0 {
			l.Doubled++
			l.problems.add("%s: %d", m.what, n)
		}
	}
	rows, err := db.QueryContext(ctx, "SELECT r.uid, a.sha256 FROM attachments a JOIN records r ON r.id = a.record_id")
	if err != nil {
		return err
	}
	defer rows.Close()
	attached := map[string]bool{}
	for rows.Next() {
		var uid, sum []byte
		if err := rows.Scan(&uid, &sum); err != nil {
			return err
		}
		id, err := uuid.FromBytes(uid)
		if err != nil {
			return err
		}
		attached["tightenings/"+id.String()+" "+hex.EncodeToString(sum)] = true
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	for key, f := range a.files {
		if f.acknowledged {
			l.Attachments++
		}
		if f.acknowledged && !attached[key] {
			l.Lost++
			l.problems.add("the attachment %s was acknowledged and is lost", key)
		}
	}
	return rows.Err()
}
