package store

import (
	"testing"

	"modernc.org/libc"
	sqlite3 "modernc.org/sqlite/lib"
)

// The pages of an open database lie in the piece that was made for them, and their slots are
// as large as what SQLite asks for: it would not use them otherwise, without a word.
func TestPagesLieInOnePiece(t *testing.T) {
	if !pagesInOnePiece {
		t.Fatal("SQLite did not take the piece")
	}
	s, err := Open(t.Context(), Config{DataDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if used, _ := pageStatus(t, sqlite3.SQLITE_STATUS_PAGECACHE_USED); used == 0 {
		t.Error("no page lies in the piece")
	}
	if _, largest := pageStatus(t, sqlite3.SQLITE_STATUS_PAGECACHE_SIZE); largest == 0 || largest > pageSlotBytes {
		t.Errorf("SQLite asks for pages of up to %d bytes, of %d that a slot has", largest, pageSlotBytes)
	}
}

// pageStatus is what SQLite says of its pages, and the most that it was.
func pageStatus(t *testing.T, of int32) (now, most int64) {
	t.Helper()
	tls := libc.NewTLS()
	defer tls.Close()
	numbers := libc.Xcalloc(tls, 2, 8)
	defer libc.Xfree(tls, numbers)
	if rc := sqlite3.Xsqlite3_status64(tls, of, numbers, numbers+8, 0); rc != sqlite3.SQLITE_OK {
		t.Fatalf("SQLite does not say: %d", rc)
	}
	bytes := libc.GoBytes(numbers, 16)
	read := func(from int) (n int64) {
		for i := range 8 {
			n |= int64(bytes[from+i]) << (8 * i)
		}
		return n
	}
	return read(0), read(8)
}
