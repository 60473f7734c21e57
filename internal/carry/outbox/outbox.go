package outbox

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/gofrs/flock"
)

// The files of an outbox.
const (
	entriesFile = "entries"
	lockFile    = "lock"
	sendingFile = "sending"
	triedFile   = "tried"
	clockFile   = "clock"
	// asidePattern is the name of what was damaged, by its content.
	asidePattern = "damaged-%x.part"
)

// lockPatience is how long another process may hold the file: an append takes
// milliseconds, a slow disk or a copy of a large file a second.
const lockPatience = 10 * time.Second

// Outbox is the outbox in a folder. Any number of processes may use one folder; of
// one Outbox, one goroutine at a time.
type Outbox struct {
	folder string
	// damage is what was found damaged and set aside since it was last asked for.
	damage []Damage
	// compactAbove is how long the file may become before what is settled is dropped.
	compactAbove int64
}

// In is the outbox in the folder. Nothing is touched until an entry is kept.
func In(folder string) *Outbox { return &Outbox{folder: folder, compactAbove: compactAbove} }

// Folder is where it is.
func (o *Outbox) Folder() string { return o.folder }

func (o *Outbox) path(name string) string { return filepath.Join(o.folder, name) }

// Exists says whether anything was ever kept here.
func (o *Outbox) Exists() bool {
	_, err := os.Stat(o.path(entriesFile))
	return err == nil
}

// locked runs the work with the file open and nobody else in it. Without create it
// gives fs.ErrNotExist where nothing was ever kept.
func (o *Outbox) locked(create bool, work func(*file) error) (err error) {
	if create {
		if err := makeFolder(o.folder); err != nil {
			return err
		}
	} else if !o.Exists() {
		return fs.ErrNotExist
	}
	lock, err := o.lock()
	if err != nil {
		return err
	}
	defer lock.Unlock() // closing the lock's file gives it up all the same
	f, err := o.open()
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, f.Close()) }()
	return work(f)
}

// lock takes the lock of the outbox. Nearly always nobody holds it, and then no clock is
// set to wait for it.
func (o *Outbox) lock() (*flock.Flock, error) {
	lock := flock.New(o.path(lockFile), flock.SetPermissions(0o600))
	got, err := lock.TryLock()
	if err == nil && !got {
		ctx, cancel := context.WithTimeout(context.Background(), lockPatience)
		defer cancel()
		got, err = lock.TryLockContext(ctx, 2*time.Millisecond)
	}
	switch {
	case errors.Is(err, context.DeadlineExceeded):
		return nil, fmt.Errorf("another program has held the outbox in %s for more than %s; end it and try again", o.folder, lockPatience)
	case err != nil || !got:
		return nil, fmt.Errorf("the outbox in %s can't be locked: %w", o.folder, err)
	}
	return lock, nil
}

// makeFolder makes a folder that only its owner reads, and sees to it that it is
// there after a crash.
func makeFolder(folder string) error {
	standing := folder
	for {
		if _, err := os.Stat(standing); err == nil || standing == filepath.Dir(standing) {
			break
		}
		standing = filepath.Dir(standing)
	}
	if standing == folder {
		return nil
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return fmt.Errorf("the folder of the outbox can't be made: %w", err)
	}
	for at := folder; at != standing; {
		at = filepath.Dir(at)
		if err := syncFolder(at); err != nil {
			return fmt.Errorf("the folder of the outbox can't be made: %w", err)
		}
	}
	return nil
}

// syncFolder puts the names in a folder on the disk.
func syncFolder(folder string) error {
	d, err := os.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// LockSending makes this process the one that sends. It gives false, and no error,
// while another one is. The release ends it.
func (o *Outbox) LockSending() (release func(), alone bool, err error) {
	lock := flock.New(o.path(sendingFile), flock.SetPermissions(0o600))
	got, err := lock.TryLock()
	if err != nil {
		return nil, false, fmt.Errorf("the outbox in %s can't be locked for sending: %w", o.folder, err)
	}
	if !got {
		return nil, false, nil
	}
	return func() { _ = lock.Unlock() }, true, nil
}

// MarkFailed notes that the server could not be reached, and why.
func (o *Outbox) MarkFailed(at time.Time, why string) {
	// Only a hint: without it the next entry tries again.
	if os.WriteFile(o.path(triedFile), []byte(why), 0o600) == nil {
		_ = os.Chtimes(o.path(triedFile), at, at)
	}
}

// MarkClock notes by how much this device's clock was before the server's when that last
// answered; zero forgets it.
func (o *Outbox) MarkClock(ahead time.Duration) {
	// Only a hint: the next answer tells it again.
	if ahead == 0 {
		_ = os.Remove(o.path(clockFile))
		return
	}
	_ = os.WriteFile(o.path(clockFile), []byte(ahead.String()), 0o600)
}

// ClockAhead is what MarkClock noted last; zero for nothing.
func (o *Outbox) ClockAhead() time.Duration {
	text, err := os.ReadFile(o.path(clockFile))
	if err != nil {
		return 0
	}
	ahead, err := time.ParseDuration(strings.TrimSpace(string(text)))
	if err != nil {
		return 0
	}
	return ahead
}

// MarkReached notes that the server was reached.
func (o *Outbox) MarkReached() { _ = os.Remove(o.path(triedFile)) }

// FailedSince gives when the server could last not be reached, and why where that was
// noted; false when it was reached after that, or nobody tried.
func (o *Outbox) FailedSince() (at time.Time, why string, failed bool) {
	info, err := os.Stat(o.path(triedFile))
	if err != nil {
		return time.Time{}, "", false
	}
	if info.Size() > 0 {
		text, err := os.ReadFile(o.path(triedFile))
		if err == nil {
			why = string(text)
		}
	}
	return info.ModTime(), why, true
}
