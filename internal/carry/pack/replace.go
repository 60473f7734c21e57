package pack

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"jointledger/internal/carry/section"
)

// partial ends the names of files that are being written.
const partial = ".part"

// Frames gives the sections of a pack that are whole, each by the sum of its
// content. A nil pack has none.
func (p *Pack) Frames() map[section.Sum][]byte {
	frames := map[section.Sum][]byte{}
	if p == nil {
		return frames
	}
	for _, s := range p.sections {
		frame, err := p.frame(s)
		if err == nil {
			_, err = section.Unpack(s.Name, frame, s.Sum)
		}
		if err == nil {
			frames[s.Sum] = frame
		}
	}
	return frames
}

// Replace puts the data of a site in the place of those that the folder has, in one
// step: whoever is interrupted, at whatever point, leaves the old or the new. The
// frames are those of all sections that the head names, by the sums of their
// contents; what the caller got from elsewhere than a pack it has checked
// (section.Unpack). The folder is made when absent. It gives the size of the file.
func Replace(folder string, h Head, frames map[section.Sum][]byte) (int64, error) {
	h.Sections = slices.Clone(h.Sections)
	slices.SortFunc(h.Sections, func(a, b Named) int { return strings.Compare(a.Name, b.Name) })
	lengths := make([]int64, len(h.Sections))
	for i, s := range h.Sections {
		if i > 0 && s.Name == h.Sections[i-1].Name {
			return 0, fmt.Errorf("the section %s of %s is named twice", s.Name, h.Site)
		}
		frame, ok := frames[s.Sum]
		if !ok {
			return 0, fmt.Errorf("the section %s of %s is missing", s.Name, h.Site)
		}
		lengths[i] = int64(len(frame))
	}
	index := appendIndex(nil, h, lengths)
	b := append([]byte(magic), binary.LittleEndian.AppendUint32(nil, uint32(len(index)))...)
	b = append(b, index...)
	sum := sha256.Sum256(b)
	b = append(b, sum[:]...)
	for _, s := range h.Sections {
		b = append(b, frames[s.Sum]...)
	}
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return 0, err
	}
	sweep(folder)
	return int64(len(b)), durably(folder, h.Site, b)
}

// durably writes a file under another name, flushes it, and only then gives it its
// name.
func durably(folder, site string, b []byte) error {
	f, err := os.CreateTemp(folder, site+".*"+partial)
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // it is gone when all went well
	_, err = f.Write(b)
	if err == nil {
		err = f.Sync()
	}
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(f.Name(), Path(folder, site))
	}
	if err != nil {
		return err
	}
	// The name is on disk once the folder is. Where a folder can't be flushed, the old
	// file may be there after a power cut, which is no harm.
	if d, err := os.Open(folder); err == nil {
		_ = d.Sync()
		_ = d.Close()
	}
	return nil
}

// sweep removes what interrupted runs left behind. Nobody writes for an hour.
func sweep(folder string) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return
	}
	for _, e := range entries {
		info, err := e.Info()
		if err == nil && strings.HasSuffix(e.Name(), partial) && info.Mode().Type() == fs.FileMode(0) && time.Since(info.ModTime()) > time.Hour {
			_ = os.Remove(filepath.Join(folder, e.Name()))
		}
	}
}
