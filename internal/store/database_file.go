package store

import (
	"errors"
	"os"
	"path/filepath"
)

// databaseOnDisk is the file of the embedded database as it was opened. A file that was
// removed or moved away goes on being written to by who has it open, and what is
// recorded in it may be gone with the process.
type databaseOnDisk struct {
	path string
	info os.FileInfo
}

func lookAtDatabase(dir string) (*databaseOnDisk, error) {
	path := filepath.Join(dir, databaseFile)
	info, err := os.Stat(path)
	if err != nil {
		return nil, folderFault(dir, err)
	}
	return &databaseOnDisk{path, info}, nil
}

// check fails when the file that was opened is not in its place any more. PostgreSQL
// has none.
func (d *databaseOnDisk) check() error {
	if d == nil {
		return nil
	}
	now, err := os.Stat(d.path)
	if err != nil {
		return fileFault(d.path, err)
	}
	if !os.SameFile(now, d.info) {
		return fileFault(d.path, errors.New("another file is in the place of the one that was opened; stop this server before anything more is recorded in the one that is gone"))
	}
	return nil
}
