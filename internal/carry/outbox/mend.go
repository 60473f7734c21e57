package outbox

import (
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Damage is what was found damaged in the outbox. Everything that can be read is
// kept; what can't be is set aside.
type Damage struct {
	// Files are the parts that were set aside.
	Files []string
	// Bytes is how many can't be read.
	Bytes int
	// Missing is how many frames are gone.
	Missing int
	// After and Before are when the nearest entries before and after the first damaged
	// place were kept; zero for none.
	After, Before time.Time
	// Safe is how many entries could be read.
	Safe int
}

// Sentence tells a person.
func (d Damage) Sentence() string {
	var parts []string
	switch {
	case len(d.Files) == 1:
		parts = append(parts, fmt.Sprintf("the outbox was damaged: %d bytes of it can't be read and are set aside in %s", d.Bytes, d.Files[0]))
	case len(d.Files) > 1:
		parts = append(parts, fmt.Sprintf("the outbox was damaged in %d places: %d bytes of it can't be read and are set aside in %s", len(d.Files), d.Bytes, strings.Join(d.Files, " and ")))
	default:
		parts = append(parts, "the outbox was damaged: a part of it is gone")
	}
	parts = append(parts, fmt.Sprintf("the %d entries that can be read are safe", d.Safe))
	const clock = "2006-01-02 15:04:05"
	between := ""
	switch {
	case !d.After.IsZero() && !d.Before.IsZero():
		between = "between " + d.After.Format(clock) + " and " + d.Before.Format(clock)
	case !d.After.IsZero():
		between = "after " + d.After.Format(clock)
	case !d.Before.IsZero():
		between = "before " + d.Before.Format(clock)
	}
	return strings.Join(parts, "; ") + "; " + strings.TrimSpace("look whether something that was entered "+between) + " is missing, and enter it again"
}

// Damage gives what was found damaged, and mended, since it was last asked for.
func (o *Outbox) Damage() []Damage {
	d := o.damage
	o.damage = nil
	return d
}

// Aside are the files with damaged parts that lie in the folder.
func (o *Outbox) Aside() []string {
	found, err := filepath.Glob(filepath.Join(o.folder, "damaged-*.part"))
	if err != nil {
		return nil // the pattern is sound; a folder that can't be read has nothing to show
	}
	return found
}

// mend reads the whole file. An unfinished write at its end is cut off: nobody was
// told that it was kept. Everything else that can't be read is set aside, and the
// file written again without it.
func (f *file) mend(h head, sound bool) error {
	data, err := f.content()
	if err != nil {
		return err
	}
	from := 0
	if sound {
		from = headSize
	}
	frames, gaps := scan(data, from)
	size := len(data)
	if n := len(gaps); n > 0 && sound && gaps[n-1].end == size && int64(gaps[n-1].at) >= h.length && unfinished(data[gaps[n-1].at:]) {
		size, gaps = gaps[n-1].at, gaps[:n-1]
	}
	f.data, f.read = data, fold(frames)
	cutShort := sound && int64(size) < h.length
	missing := missingFrames(frames, gaps)
	if last := lastSequence(frames); cutShort && len(gaps) == 0 && h.sequence > last {
		missing += int(h.sequence - last)
	}
	// Without a head nobody can say what was acknowledged: then nothing is cut off.
	if sound && len(gaps) == 0 && unbroken(frames) && !cutShort {
		f.head = head{length: int64(size), sequence: uint64(len(frames)), count: f.read.count()}
		if size < len(data) {
			if err := f.Truncate(int64(size)); err != nil {
				return fmt.Errorf("the unfinished end of the outbox can't be cut off: %w", err)
			}
		}
		f.writeHead()
		return nil
	}
	return f.setAside(data, frames, gaps, missing)
}

func lastSequence(frames []frame) uint64 {
	if len(frames) == 0 {
		return 0
	}
	return frames[len(frames)-1].sequence
}

// missingFrames is how many frames are gone that left no bytes behind.
func missingFrames(frames []frame, gaps []gap) int {
	missing := 0
	last := uint64(0)
	for _, f := range frames {
		if f.sequence > last+1 && !slices.ContainsFunc(gaps, func(g gap) bool { return g.end == f.at }) {
			missing += int(f.sequence - last - 1)
		}
		last = f.sequence
	}
	return missing
}

// setAside writes each part that can't be read to a file of its own, named by its
// content so that doing it twice makes one, and then the file anew without them.
func (f *file) setAside(data []byte, frames []frame, gaps []gap, missing int) error {
	d := Damage{Missing: missing, Safe: len(f.read.list)}
	for _, g := range gaps {
		part := data[g.at:g.end]
		if len(part) == 0 {
			continue
		}
		sum := sha256.Sum256(part)
		name := fmt.Sprintf(asidePattern, sum[:6])
		if err := f.box.writeWhole(name, part); err != nil {
			return fmt.Errorf("the outbox is damaged, and the damaged part can't be set aside: %w", err)
		}
		d.Files, d.Bytes = append(d.Files, f.box.path(name)), d.Bytes+len(part)
	}
	d.After, d.Before = around(frames, gaps)
	if err := f.rewrite(frames); err != nil {
		return fmt.Errorf("the outbox is damaged, and can't be written again: %w", err)
	}
	f.box.damage = append(f.box.damage, d)
	return nil
}

// around gives when the frames next to the first damaged place were written.
func around(frames []frame, gaps []gap) (after, before time.Time) {
	last := uint64(0)
	for _, f := range frames {
		e, err := readEvent(f.payload)
		if err != nil {
			continue
		}
		if f.sequence != last+1 || slices.ContainsFunc(gaps, func(g gap) bool { return g.end == f.at && g.at > 0 }) {
			return after, e.at
		}
		last, after = f.sequence, e.at
	}
	return after, time.Time{}
}

// rewrite writes the file anew with these frames, counted from 1.
func (f *file) rewrite(frames []frame) error {
	content := make([]byte, headSize, headSize+len(f.data))
	for i, old := range frames {
		content = appendFrame(content, uint64(i+1), old.payload)
	}
	h := head{length: int64(len(content)), sequence: uint64(len(frames)), count: fold(frames).count()}
	copy(content, h.bytes())
	if err := f.box.replaceFile(content); err != nil {
		return err
	}
	opened, err := os.OpenFile(f.box.path(entriesFile), os.O_RDWR, 0)
	if err != nil {
		return err
	}
	f.head = h
	old := f.File
	f.File = opened
	return errors.Join(old.Close())
}
