package store

import (
	"modernc.org/libc"
	sqlite3 "modernc.org/sqlite/lib"
)

// What SQLite keeps of the database's pages, for the connection that writes and for each of
// those that read. What those read lies in the system's cache of files: they need little of
// their own.
const (
	writerCacheKiB, readerCacheKiB = 10 << 10, 512
	readers, longReaders           = 4, 2
)

// SQLite takes the memory of its caches from one piece, which is given to it before it
// first opens anything (SQLite documentation, sqlite3_config, SQLITE_CONFIG_PAGECACHE): page
// by page the driver's allocator would round each, which is a page and its header, up to
// twice the page. The piece holds all caches of a store; where more are open, they share it.
const (
	// pageSlotBytes is a page with what SQLite puts behind it (SQLITE_CONFIG_PCACHE_HDRSZ,
	// 272 bytes with this driver).
	pageSlotBytes = 4096 + 272
	// pageSlotsSpare are for what else SQLite takes from the piece: tables that it makes for
	// a statement, or of which it makes room before a page is written. It thinks memory
	// short when ten are left, and takes page by page when none is.
	pageSlotsSpare = 64
	pageSlots      = (writerCacheKiB+(readers+longReaders)*readerCacheKiB)/4 + pageSlotsSpare
)

// pagesInOnePiece says whether SQLite took the piece. It is offered when the program starts:
// once a connection is open, of whomever, it is too late. The whole piece is touched with
// the first connection; a server on PostgreSQL never does.
var pagesInOnePiece = offerPageMemory()

func offerPageMemory() bool {
	tls := libc.NewTLS()
	defer tls.Close()
	piece := libc.Xmalloc(tls, pageSlotBytes*pageSlots)
	arguments := libc.NewVaListN(3)
	if piece == 0 || arguments == 0 {
		return false // SQLite takes page by page
	}
	defer libc.Xfree(tls, arguments)
	return sqlite3.Xsqlite3_config(tls, sqlite3.SQLITE_CONFIG_PAGECACHE, libc.VaList(arguments, piece, int32(pageSlotBytes), int32(pageSlots))) == sqlite3.SQLITE_OK
}
