package store

import "testing"

// SQLite takes the setting only before its first connection, of whomever in this process.
func TestCachesAreAllocatedInOnePiece(t *testing.T) {
	if !cachesAreInOnePiece {
		t.Error("SQLite did not take the setting: its caches take twice their size")
	}
}
