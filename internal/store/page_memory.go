package store

import (
	"modernc.org/libc"
	sqlite "modernc.org/sqlite/lib"
)

// writerCacheKiB and readerCacheKiB are what SQLite keeps of the database's pages for the
// connection that writes and for each that reads. What those read lies in the system's
// cache of files: they need little of their own.
const writerCacheKiB, readerCacheKiB = 16 << 10, 2 << 10

// SQLite is told, before it first opens anything, to allocate the cache of a connection in
// one piece (SQLite documentation, "Configuration Options", SQLITE_CONFIG_PAGECACHE with no
// memory of ours: at most so much, and no more than the cache may hold). Page by page the
// driver's allocator would round each, a page and its header, up to twice the page.
// It is told when the program starts: once a connection is open, of whomever, it takes no
// more of this. Should it not take it, it works as it did.
var cachesAreInOnePiece = askForCachesInOnePiece()

func askForCachesInOnePiece() bool {
	tls := libc.NewTLS()
	defer tls.Close()
	// No memory, no size of a slot, and a number below nought for KiB.
	arguments := libc.NewVaList(uintptr(0), int32(0), int32(-writerCacheKiB))
	if arguments == 0 {
		return false
	}
	defer libc.Xfree(tls, arguments)
	return sqlite.Xsqlite3_config(tls, sqlite.SQLITE_CONFIG_PAGECACHE, arguments) == sqlite.SQLITE_OK
}
