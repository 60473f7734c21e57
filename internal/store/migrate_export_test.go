package store

import (
	"database/sql"
	"io/fs"
	"path/filepath"

	"github.com/golang-migrate/migrate/v4/database"
	pgxmigrate "github.com/golang-migrate/migrate/v4/database/pgx/v5"
	sqlitemigrate "github.com/golang-migrate/migrate/v4/database/sqlite"
)

// MigrateFiles brings a database to the newest version of files that are not ours.
func MigrateFiles(c Config, files fs.FS, folder string) error {
	name, dsn := "sqlite", "file:"+filepath.Join(c.DataDir, databaseFile)
	if c.DSN != "" {
		name, dsn = "pgx", c.DSN
	}
	db, err := sql.Open(name, dsn)
	if err != nil {
		return err
	}
	var driver database.Driver
	if c.DSN != "" {
		driver, err = pgxmigrate.WithInstance(db, &pgxmigrate.Config{})
	} else {
		driver, err = sqlitemigrate.WithInstance(db, &sqlitemigrate.Config{})
	}
	if err != nil {
		return err
	}
	return migrateUp(driver, files, folder, name)
}
