package migrations

import "embed"

// Views holds sqlite.sql and postgres.sql under views/: temporary views for notebooks,
// which no server makes and no database keeps.
//
//go:embed views/*.sql
var Views embed.FS
