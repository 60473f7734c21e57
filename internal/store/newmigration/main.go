// Command newmigration writes the next migration of both engines from the
// difference between ent/schema and the migrations that are there:
//
//	go run ./internal/store/newmigration NAME
//
// It replays the existing files on an in-memory SQLite database and on a
// throw-away PostgreSQL, and writes migrations/sqlite/NNNN_NAME.{up,down}.sql and
// migrations/postgres/… with the same version number. Read what it wrote before
// committing it; when you have added something by hand to a migration that has
// not landed yet, run
//
//	go run ./internal/store/newmigration -hash
//
// to write the checksums (atlas.sum) anew. A test holds the files to them, so
// that one that has landed is not changed by accident.
package main

import (
	"context"
	"database/sql"
	"fmt"
	"log"
	"os"
	"path/filepath"

	"ariga.io/atlas/sql/migrate"
	"ariga.io/atlas/sql/sqltool"
	"entgo.io/ent/dialect"
	entsql "entgo.io/ent/dialect/sql"
	"entgo.io/ent/dialect/sql/schema"
	_ "github.com/jackc/pgx/v5/stdlib"
	_ "modernc.org/sqlite"

	entmigrate "jointledger/ent/migrate"
	"jointledger/internal/pgcluster"
)

func main() {
	log.SetFlags(0)
	if len(os.Args) != 2 {
		log.Fatal("usage: go run ./internal/store/newmigration NAME | -hash")
	}
	if os.Args[1] == "-hash" {
		for _, dir := range []string{"migrations/sqlite", "migrations/postgres"} {
			if err := hash(dir); err != nil {
				log.Fatal(err)
			}
		}
		return
	}
	ctx := context.Background()
	if err := write(ctx, os.Args[1]); err != nil {
		log.Fatal(err)
	}
}

func write(ctx context.Context, name string) error {
	cluster, err := pgcluster.Start(ctx, pgcluster.Options{})
	if err != nil {
		return err
	}
	defer cluster.Stop()
	existing, err := filepath.Glob("migrations/sqlite/*.up.sql")
	if err != nil {
		return err
	}
	version := fmt.Sprintf("%04d", len(existing)+1)
	for _, e := range []struct{ dialect, driver, dsn, dir string }{
		{dialect.SQLite, "sqlite", "file:replay?mode=memory&_pragma=foreign_keys(1)", "migrations/sqlite"},
		{dialect.Postgres, "pgx", cluster.DSN("postgres"), "migrations/postgres"},
	} {
		if err := diff(ctx, e.dialect, e.driver, e.dsn, e.dir, version, name); err != nil {
			return fmt.Errorf("%s: %w", e.dialect, err)
		}
	}
	return nil
}

func diff(ctx context.Context, engine, driver, dsn, dir, version, name string) error {
	db, err := sql.Open(driver, dsn)
	if err != nil {
		return err
	}
	defer db.Close()
	db.SetMaxOpenConns(1) // an in-memory database lives in its connection
	target, err := sqltool.NewGolangMigrateDir(dir)
	if err != nil {
		return err
	}
	m, err := schema.NewMigrate(entsql.OpenDB(engine, db),
		schema.WithDir(target), schema.WithMigrationMode(schema.ModeReplay), schema.WithDialect(engine),
		schema.WithFormatter(sqltool.GolangMigrateFormatter), schema.WithDropColumn(true), schema.WithDropIndex(true))
	if err != nil {
		return err
	}
	if err := m.NamedDiff(ctx, name, entmigrate.Tables...); err != nil {
		return err
	}
	if err := number(dir, version, name); err != nil {
		return err
	}
	return hash(dir)
}

// hash writes the checksum file of a folder of migrations.
func hash(dir string) error {
	d, err := sqltool.NewGolangMigrateDir(dir)
	if err != nil {
		return err
	}
	sum, err := d.Checksum()
	if err != nil {
		return err
	}
	return migrate.WriteSumFile(d.FS.(*migrate.LocalDir), sum)
}

// number gives the files just written, which carry the time, their version.
func number(dir, version, name string) error {
	for _, end := range []string{".up.sql", ".down.sql"} {
		written, err := filepath.Glob(filepath.Join(dir, "[0-9][0-9][0-9][0-9][0-9][0-9][0-9][0-9]*_"+name+end))
		if err != nil {
			return err
		}
		if len(written) != 1 {
			return fmt.Errorf("expected one new file *_%s%s in %s, found %d: does the schema differ at all?", name, end, dir, len(written))
		}
		if err := os.Rename(written[0], filepath.Join(dir, version+"_"+name+end)); err != nil {
			return err
		}
	}
	return nil
}
