package store

import (
	"context"
	"database/sql"
	"strconv"
	"strings"

	"entgo.io/ent/dialect"
)

// engine is what differs between the databases.
type engine interface {
	dialect() string
	// bind turns `?` marks into the engine's own. Queries of the store have no
	// question mark in a literal.
	bind(query string) string
	// month is an expression for `YYYY-MM` of a column of days since 1970-01-01.
	month(column string) string
	// lockRows ends a SELECT so that the rows of the table alias stay locked until
	// the commit.
	lockRows(alias string) string
	// lockFreeRows is lockRows that leaves out the rows that somebody else has locked.
	lockFreeRows(alias string) string
	// lockNumbers is a statement that locks each key of a JSON object, as numbers has
	// it, until the commit, in its order; empty where no lock is needed.
	lockNumbers() string
	readIsolation() sql.IsolationLevel
	// line is how the writer's transactions reach the pool's database.
	line(context.Context, *sql.DB) (line, error)
	// pipeline holds back what a transaction of the connection writes; nil for nothing.
	pipeline(*sql.Conn) *pipeline
	// writing is the context of one group of writes, which must not keep the writer for
	// ever.
	writing() (context.Context, context.CancelFunc)
	// numbers is a table of whole numbers, `key` and `value`, made of a parameter
	// that is a JSON object: a way to hand over many without a limit on parameters.
	numbers() string
}

type sqliteEngine struct{}

func (sqliteEngine) dialect() string          { return dialect.SQLite }
func (sqliteEngine) bind(query string) string { return query }
func (sqliteEngine) month(column string) string {
	return "strftime('%Y-%m', " + column + " * 86400, 'unixepoch')"
}

// SQLite has one writer at a time; its transaction is the lock.
func (sqliteEngine) lockRows(string) string     { return "" }
func (sqliteEngine) lockFreeRows(string) string { return "" }
func (sqliteEngine) lockNumbers() string        { return "" }

// What a write waits for here is another process's lock, which the connection's own
// timeout ends, or the disk, which nothing interrupts; while each statement that could
// be interrupted costs a goroutine that waits for it.
func (sqliteEngine) writing() (context.Context, context.CancelFunc) {
	return context.Background(), func() {}
}
func (sqliteEngine) line(ctx context.Context, db *sql.DB) (line, error) {
	return newOwnLine(ctx, db)
}
func (sqliteEngine) pipeline(*sql.Conn) *pipeline      { return nil }
func (sqliteEngine) readIsolation() sql.IsolationLevel { return sql.LevelDefault }
func (sqliteEngine) numbers() string {
	return "(SELECT CAST(key AS INTEGER) AS key, value FROM json_each(?))"
}

type postgresEngine struct{}

func (postgresEngine) dialect() string { return dialect.Postgres }

func (postgresEngine) bind(query string) string {
	var b strings.Builder
	b.Grow(len(query) + 64)
	n := 0
	for i := 0; i < len(query); i++ {
		if query[i] != '?' {
			b.WriteByte(query[i])
			continue
		}
		n++
		b.WriteByte('$')
		b.WriteString(strconv.Itoa(n))
	}
	return b.String()
}

func (postgresEngine) month(column string) string {
	return "to_char(date '1970-01-01' + " + column + "::int, 'YYYY-MM')"
}

func (postgresEngine) lockRows(alias string) string { return " FOR UPDATE OF " + alias }

func (postgresEngine) lockFreeRows(alias string) string {
	return " FOR UPDATE OF " + alias + " SKIP LOCKED"
}

// The first key of the lock parts it from other uses of advisory locks.
func (e postgresEngine) lockNumbers() string {
	return "SELECT pg_advisory_xact_lock(6789, b.key::int) FROM " + e.numbers() + " b"
}

func (postgresEngine) writing() (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.Background(), longestCommit)
}

func (postgresEngine) line(_ context.Context, db *sql.DB) (line, error) {
	return pooledLine{db}, nil
}

func (postgresEngine) pipeline(conn *sql.Conn) *pipeline { return &pipeline{conn: conn} }

// An answer is read from one state of the database, however many queries it
// takes.
func (postgresEngine) readIsolation() sql.IsolationLevel { return sql.LevelRepeatableRead }

func (postgresEngine) numbers() string {
	return "(SELECT key::bigint AS key, value::bigint AS value FROM json_each_text(?::json))"
}
