package outbox

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// file is the file of the entries while it is locked.
type file struct {
	*os.File
	head head
	// read is what it holds; nil while nobody had to read it.
	read *entries
	// data is what read shares.
	data []byte
	box  *Outbox
}

// open opens the file, makes it where there is none, and mends what an interrupted
// write or damage has left.
func (o *Outbox) open() (*file, error) {
	opened, err := os.OpenFile(o.path(entriesFile), os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) {
		h := head{length: headSize}
		if err := o.replaceFile(h.bytes()); err != nil {
			return nil, fmt.Errorf("the outbox can't be made: %w", err)
		}
		opened, err = os.OpenFile(o.path(entriesFile), os.O_RDWR, 0)
	}
	if err != nil {
		return nil, fmt.Errorf("the outbox can't be opened: %w", err)
	}
	f := &file{File: opened, box: o}
	if err := f.check(); err != nil {
		return nil, errors.Join(err, opened.Close())
	}
	return f, nil
}

// check reads the head, and the whole file where the head does not match it.
func (f *file) check() error {
	b := make([]byte, headSize)
	n, err := f.ReadAt(b, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return fmt.Errorf("the outbox can't be read: %w", err)
	}
	h, sound, err := readHead(b[:n])
	if err != nil {
		return err
	}
	info, err := f.Stat()
	if err != nil {
		return fmt.Errorf("the outbox can't be read: %w", err)
	}
	if sound && info.Size() == h.length {
		f.head = h
		return nil
	}
	return f.mend(h, sound)
}

// load reads all entries.
func (f *file) load() (*entries, error) {
	if f.read != nil {
		return f.read, nil
	}
	data, err := f.content()
	if err != nil {
		return nil, err
	}
	frames, gaps := scan(data, headSize)
	if len(gaps) > 0 || !unbroken(frames) {
		if err := f.mend(f.head, true); err != nil {
			return nil, err
		}
		return f.read, nil
	}
	f.data, f.read = data, fold(frames)
	return f.read, nil
}

func (f *file) content() ([]byte, error) {
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, fmt.Errorf("the outbox can't be read: %w", err)
	}
	data, err := io.ReadAll(f)
	if err != nil {
		return nil, fmt.Errorf("the outbox can't be read: %w", err)
	}
	return data, nil
}

// unbroken says whether the frames are counted from 1 without one missing.
func unbroken(frames []frame) bool {
	for i, f := range frames {
		if f.sequence != uint64(i+1) {
			return false
		}
	}
	return true
}

// fold is what the frames come to.
func fold(frames []frame) *entries {
	s := newEntries(len(frames))
	for _, f := range frames {
		if e, err := readEvent(f.payload); err == nil {
			s.apply(e)
		}
	}
	return s
}

// append puts the events behind the others and returns when they are on the disk.
// Where that fails, the file is as it was before.
func (f *file) append(events []event, after Count) error {
	var b []byte
	for i, e := range events {
		b = appendFrame(b, f.head.sequence+uint64(i)+1, e.payload())
	}
	_, err := f.WriteAt(b, f.head.length)
	if err == nil {
		err = flush(f.File)
	}
	if err != nil {
		return f.takeBack(err)
	}
	f.head = head{length: f.head.length + int64(len(b)), sequence: f.head.sequence + uint64(len(events)), count: after}
	f.writeHead()
	if f.read != nil {
		for _, e := range events {
			f.read.apply(e)
		}
	}
	return nil
}

// takeBack puts the file back to its former length after a write that failed.
func (f *file) takeBack(cause error) error {
	err := f.Truncate(f.head.length)
	if err == nil {
		err = flush(f.File)
	}
	if err != nil {
		return fmt.Errorf("it is not known whether it was kept: %w; look at it with trackctl pending before it is entered again", errors.Join(cause, err))
	}
	return fmt.Errorf("not kept: the outbox in %s can't be written: %w", f.box.folder, cause)
}

// writeHead brings the head up to date. It is a hint, and the next append mends it
// when it could not be written.
func (f *file) writeHead() { _, _ = f.WriteAt(f.head.bytes()[:headUsed+8], 0) }

// replaceFile writes a whole new file in place of the entries: after a crash there
// is the one or the other.
func (o *Outbox) replaceFile(content []byte) error {
	return o.writeWhole(entriesFile, content)
}

func (o *Outbox) writeWhole(name string, content []byte) (err error) {
	temporary, err := os.CreateTemp(o.folder, name+".*.new")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			_ = os.Remove(temporary.Name())
		}
	}()
	_, err = io.Copy(temporary, bytes.NewReader(content))
	if err == nil {
		err = temporary.Sync()
	}
	if err = errors.Join(err, temporary.Close()); err != nil {
		return err
	}
	if err = os.Rename(temporary.Name(), o.path(name)); err != nil {
		return err
	}
	return syncFolder(o.folder)
}
