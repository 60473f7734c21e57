package pgcluster_test

import (
	"context"
	"database/sql"
	"os"
	"path/filepath"
	"testing"
	"time"

	"jointledger/internal/pgcluster"
)

// Data and log lie where they are asked to, the socket reaches the server, and nothing is
// left of them.
func TestDataAndLogApart(t *testing.T) {
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	defer cancel()
	folder, err := os.MkdirTemp("", "apart-") //nolint:usetesting // t.TempDir lets no other user in, and PostgreSQL runs as one
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(folder) })
	options := pgcluster.Options{Data: filepath.Join(folder, "data"), WriteAheadLog: filepath.Join(folder, "log"), Segment: 1, Settings: []string{"max_wal_size=8MB"}}
	for _, made := range []string{folder, options.Data, options.WriteAheadLog} {
		if err := os.MkdirAll(made, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Chmod(made, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	c, err := pgcluster.Start(ctx, options)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Stop)
	db, err := sql.Open("pgx", c.LocalDSN("postgres"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for setting, want := range map[string]string{"wal_segment_size": "1MB", "max_wal_size": "8MB"} {
		var got string
		if err := db.QueryRowContext(ctx, "SHOW "+setting).Scan(&got); err != nil || got != want {
			t.Errorf("%s is %q, %v; expected %q", setting, got, err, want)
		}
	}
	for _, pattern := range []string{options.Data + "/*/data/PG_VERSION", options.WriteAheadLog + "/*/wal/0000*"} {
		if found, _ := filepath.Glob(pattern); len(found) == 0 {
			t.Errorf("there is nothing like %s", pattern)
		}
	}
	if c.Ended() || c.Panics() != 0 {
		t.Errorf("ended %v, %d panics; expected a server that runs", c.Ended(), c.Panics())
	}
	if err := c.Halt(pgcluster.Immediate); err != nil || !c.Ended() {
		t.Errorf("after it was halted: ended %v; %v", c.Ended(), err)
	}
	c.Stop()
	if left, _ := filepath.Glob(folder + "/*/*"); len(left) > 0 {
		t.Errorf("left are %v", left)
	}
}
