package pgcluster

import (
	"context"
	"database/sql"
	"testing"
	"time"
)

// TestStandbyTakesOver follows a primary, kills it, and writes on the standby.
func TestStandbyTakesOver(t *testing.T) {
	t.Parallel()
	ctx, cancel := context.WithTimeout(context.Background(), 3*time.Minute)
	defer cancel()
	primary, err := Start(ctx, Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(primary.Stop)
	standby, err := primary.Standby(ctx, "second")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(standby.Stop)
	if err := primary.Synchronous(ctx, "second"); err != nil {
		t.Fatal(err)
	}
	// With the words of the documentation, whoever asks is led to the primary.
	db, err := sql.Open("pgx", standby.DSNWith("postgres", primary))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	db.SetMaxIdleConns(0) // each question finds the primary anew
	if _, err := db.ExecContext(ctx, "CREATE TABLE kept (n int)"); err != nil {
		t.Fatal(err)
	}
	if _, err := db.ExecContext(ctx, "INSERT INTO kept VALUES (1)"); err != nil {
		t.Fatal(err)
	}
	if err := primary.Kill(); err != nil {
		t.Fatal(err)
	}
	if err := primary.Run(ctx, "SELECT 1"); err == nil {
		t.Error("the primary answers after it was killed")
	}
	if err := standby.Run(ctx, "INSERT INTO kept VALUES (2)"); err == nil {
		t.Error("the standby takes writes before it is promoted")
	}
	if err := standby.Promote(ctx); err != nil {
		t.Fatal(err)
	}
	var sum int
	if err := standby.Run(ctx, "INSERT INTO kept VALUES (2)"); err != nil {
		t.Error(err)
	}
	if err := db.QueryRowContext(ctx, "SELECT sum(n) FROM kept").Scan(&sum); err != nil || sum != 3 {
		t.Errorf("what was kept adds up to %d, %v; expected 3", sum, err)
	}
}
