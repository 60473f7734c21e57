package store_test

import (
	"os"
	"path/filepath"
	"testing"

	"jointledger/internal/store"
)

// Nobody else on the machine reads the embedded database, also where the folder was
// there already and lets others in.
func TestTheDatabaseIsItsOwnersAlone(t *testing.T) {
	dir := t.TempDir()
	if err := os.Chmod(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	s, err := store.Open(t.Context(), store.Config{DataDir: dir})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	files, err := filepath.Glob(filepath.Join(dir, "*"))
	if err != nil || len(files) < 3 {
		t.Fatal(files, err)
	}
	for _, f := range files {
		if info, err := os.Stat(f); err != nil || info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s: %v, %v", f, info.Mode(), err)
		}
	}
}
