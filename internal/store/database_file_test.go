package store_test

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// A server whose database was moved away, or has another in its place, must not say that
// all is well: what it records is where nobody will look for it.
func TestADatabaseThatIsMovedAway(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	dir := storetest.SQLite().NewConfig(t).DataDir
	s, err := store.Open(ctx, store.Config{DataDir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Ping(ctx); err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(dir, "jointledger.db")
	move := func(from, to string) {
		t.Helper()
		if err := os.Rename(from, to); err != nil {
			t.Fatal(err)
		}
	}
	move(file, file+".away")
	if err := s.Ping(ctx); err == nil || !strings.Contains(err.Error(), "can't be written or read") {
		t.Errorf("moved away: %v", err)
	}
	if err := os.WriteFile(file, []byte("another"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := s.Ping(ctx); err == nil || !strings.Contains(err.Error(), "another file is in the place") {
		t.Errorf("another in its place: %v", err)
	}
	move(file+".away", file)
	if err := s.Ping(ctx); err != nil {
		t.Errorf("back again: %v", err)
	}
}
