//go:build !linux

package outbox

import "os"

// flush returns when what was written is on the disk.
func flush(f *os.File) error { return f.Sync() }
