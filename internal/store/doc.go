// Package store keeps things and records in a database and answers from it. It
// is the only importer of ent and of a database driver: one concrete store, two
// engines (SQLite embedded, PostgreSQL), the same conformance suite for both.
//
// An exported method opens the transaction; an unexported helper takes it.
// Every write goes through one writer (writer.go), so that concurrent requests
// share a commit, and is acknowledged only when that commit is durable.
package store
