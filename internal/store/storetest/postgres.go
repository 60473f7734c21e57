package storetest

import (
	"context"
	"database/sql"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib" // the driver "pgx"

	"jointledger/internal/pgcluster"
	"jointledger/internal/store"
)

// templateDatabase is migrated once and copied for each test.
const templateDatabase = "migrated"

// emptyDatabase is what PostgreSQL itself copies for a new database.
const emptyDatabase = "template1"

// sharedCluster is the one PostgreSQL server of a test process.
type sharedCluster struct {
	once    sync.Once
	cluster *pgcluster.Cluster
	admin   *sql.DB
	err     error
	made    atomic.Int64
}

var cluster sharedCluster

func (c *sharedCluster) start() error {
	c.once.Do(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
		defer cancel()
		if c.cluster, c.err = pgcluster.Start(ctx, pgcluster.Options{}); c.err != nil {
			return
		}
		if c.admin, c.err = sql.Open("pgx", c.cluster.DSN("postgres")); c.err != nil {
			return
		}
		c.admin.SetMaxOpenConns(4)
		if _, c.err = c.admin.ExecContext(ctx, "CREATE DATABASE "+templateDatabase); c.err != nil {
			return
		}
		_, _, c.err = store.MigrateUp(ctx, store.Config{DSN: c.cluster.DSN(templateDatabase)})
	})
	return c.err
}

func (c *sharedCluster) stop() {
	if c.admin != nil {
		_ = c.admin.Close() // the cluster ends next
	}
	if c.cluster != nil {
		c.cluster.Stop()
	}
}

// database copies a template and gives the connection string; the copy is
// dropped when the test ends.
func (c *sharedCluster) database(tb testing.TB, from string) string {
	tb.Helper()
	if err := c.start(); err != nil {
		tb.Fatalf("PostgreSQL is needed for this test: %v", err)
	}
	name := fmt.Sprintf("test_%d", c.made.Add(1))
	if _, err := c.admin.Exec(fmt.Sprintf("CREATE DATABASE %s TEMPLATE %s", name, from)); err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if _, err := c.admin.Exec("DROP DATABASE " + name + " WITH (FORCE)"); err != nil {
			tb.Errorf("dropping the test's database: %v", err)
		}
	})
	return c.cluster.DSN(name)
}
