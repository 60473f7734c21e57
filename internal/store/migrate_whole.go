package store

import (
	"fmt"
	"io"
	"strings"

	"github.com/golang-migrate/migrate/v4/database"
)

// wholeMigration writes the version in the transaction of the migration itself. The
// migrator would write it in a transaction before, as begun, and in one after, as done: a
// process that is killed between them leaves a database of which nobody knows what it
// has. So a migration is there wholly or not at all, and is simply run again.
type wholeMigration struct {
	database.Driver
	// coming is the version that the migrator is about to make.
	coming int
}

// SetVersion is told the version as begun, then as done; Run has written it by then.
func (w *wholeMigration) SetVersion(version int, begun bool) error {
	if begun {
		w.coming = version
		return nil
	}
	if version == w.coming {
		return nil
	}
	return w.Driver.SetVersion(version, false)
}

// Run runs the statements of a migration, each engine's driver in one transaction, and
// the version with them.
func (w *wholeMigration) Run(migration io.Reader) error {
	statements, err := io.ReadAll(migration)
	if err != nil {
		return err
	}
	whole := string(statements) + "\nDELETE FROM schema_migrations;\n"
	if w.coming != database.NilVersion {
		whole += fmt.Sprintf("INSERT INTO schema_migrations (version, dirty) VALUES (%d, (1 = 0));\n", w.coming)
	}
	return w.Driver.Run(strings.NewReader(whole))
}
