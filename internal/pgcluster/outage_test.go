package pgcluster_test

import (
	"context"
	"testing"
	"time"

	"jointledger/internal/pgcluster"
)

// However a server ends, it comes back on its port with what was committed.
func TestAServerComesBack(t *testing.T) {
	ctx, cancel := context.WithTimeout(t.Context(), 3*time.Minute)
	defer cancel()
	c, err := pgcluster.Start(ctx, pgcluster.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(c.Stop)
	if err := c.Run(ctx, "CREATE TABLE kept (n INTEGER)"); err != nil {
		t.Fatal(err)
	}
	if err := c.Resume(ctx); err == nil {
		t.Error("a server that runs was started again")
	}
	host := c.Host()
	for n, manner := range []pgcluster.Manner{pgcluster.Fast, pgcluster.Immediate, pgcluster.Killed} {
		if err := c.Run(ctx, "INSERT INTO kept VALUES (1)"); err != nil {
			t.Fatal(err)
		}
		if err := c.Halt(manner); err != nil {
			t.Fatal(err)
		}
		if err := c.Run(ctx, "SELECT 1"); err == nil {
			t.Error("a server that was ended answers")
		}
		if err := c.Resume(ctx); err != nil {
			t.Fatal(err)
		}
		if err := c.Run(ctx, "DO $$ BEGIN ASSERT (SELECT sum(n) FROM kept) = "+string(rune('1'+n))+"; END $$"); err != nil || c.Host() != host {
			t.Errorf("after the manner %d: %v, at %s; expected %d rows, at %s", manner, err, c.Host(), n+1, host)
		}
	}
}
