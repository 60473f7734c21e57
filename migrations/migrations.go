// Package migrations carries the schema's migrations in the binary. Both
// engines have the same versions; a file that has landed is never edited.
package migrations

import "embed"

// SQLite and Postgres hold NNNN_name.{up,down}.sql under sqlite/ and postgres/.
var (
	//go:embed sqlite/*.sql
	SQLite embed.FS
	//go:embed postgres/*.sql
	Postgres embed.FS
)

// Latest is the newest version that this binary knows. A test holds it to the
// files.
const Latest = 8
