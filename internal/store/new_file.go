package store

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"syscall"

	"jointledger/internal/ledger"
)

// partialSuffix marks a file that is being written. What was killed leaves it
// behind; it is never taken for a whole one.
const partialSuffix = ".partial"

// writeNew writes a file that must not exist yet. It is filled under another name
// beside it, flushed, and has its name only when fill gave no error: whatever
// happens, a file of that name is whole. KindExists when there is one already.
func writeNew(path string, fill func(*os.File) error) (err error) {
	if _, err := os.Lstat(path); err == nil {
		return fileExists(path)
	}
	dir := filepath.Dir(path)
	f, err := os.CreateTemp(dir, "."+filepath.Base(path)+"-*"+partialSuffix)
	if err != nil {
		return fileFault(path, err)
	}
	defer os.Remove(f.Name()) // it has its other name by then, or is not wanted
	defer f.Close()           // closed below where it counts
	if err := fill(f); err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return fileFault(path, err)
	}
	if err := nameNew(f.Name(), path); err != nil {
		return err
	}
	return syncFolder(dir)
}

// nameNew gives a file its name unless the name is taken, in one step where the file
// system knows links.
func nameNew(from, to string) error {
	err := os.Link(from, to)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, os.ErrExist):
		return fileExists(to)
	case !errors.Is(err, syscall.EPERM) && !errors.Is(err, syscall.ENOTSUP) && !errors.Is(err, syscall.ENOSYS):
		return fileFault(to, err)
	}
	if _, err := os.Lstat(to); err == nil {
		return fileExists(to)
	}
	if err := os.Rename(from, to); err != nil {
		return fileFault(to, err)
	}
	return nil
}

// syncFolder makes names in a folder last.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return fileFault(dir, err)
	}
	defer f.Close()
	if err := f.Sync(); err != nil && !errors.Is(err, syscall.EINVAL) { // a file system without it
		return fileFault(dir, err)
	}
	return nil
}

func fileExists(path string) error {
	return &ledger.Error{Kind: ledger.KindExists, Reason: ledger.ReasonResourceExists,
		Message: fmt.Sprintf("there is a file %s already, which was left alone; give another name", path)}
}

// fileFault says what is the matter with a file of the operator's.
func fileFault(path string, err error) error {
	return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
		Message: fmt.Sprintf("%s can't be written or read: %v", path, err), Cause: err}
}
