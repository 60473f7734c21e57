package pack

import (
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"jointledger/internal/carry/section"
)

// The file is written once and never changed: a refreshed one takes its name. So a
// reader waits for nobody and always has the whole of one state. It begins with the
// magic, the length of the index, the index and the SHA-256 of all that; then come
// the frames of the sections, in the order of the index. An entry reads the index
// and the few sections that it needs.
const (
	magic     = "JLCARRY1"
	extension = ".carried"
	// mostIndex bounds what is read of a damaged file: it has room for 300,000 sections.
	mostIndex = 32 << 20
)

// Path is the file of a site in a folder.
func Path(folder, site string) string { return filepath.Join(folder, site+extension) }

// Sites are the sites of which a folder has carried data, sorted; none when the
// folder does not exist.
func Sites(folder string) ([]string, error) {
	entries, err := os.ReadDir(folder)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	var sites []string
	for _, e := range entries {
		if site, ok := strings.CutSuffix(e.Name(), extension); ok && site != "" && !strings.HasPrefix(site, ".") {
			sites = append(sites, site)
		}
	}
	slices.Sort(sites)
	return sites, err
}

// Drop removes the carried data of a site. The error is os.ErrNotExist when there
// are none.
func Drop(folder, site string) error { return os.Remove(Path(folder, site)) }

// Damaged is a file that can't be read, or not to its end.
type Damaged struct {
	Site string
	// Why says what is wrong with it.
	Why error
}

// Error says what is wrong and what to do about it.
func (d *Damaged) Error() string {
	return fmt.Sprintf("the carried data of %s are damaged: %v; run trackctl carry %[1]s again", d.Site, d.Why)
}

// Unwrap gives the cause.
func (d *Damaged) Unwrap() error { return d.Why }

// Named is a section by its name and the sum of its content.
type Named struct {
	Name string
	Sum  section.Sum
}

// Head says what the data of a site consist of.
type Head struct {
	Site string
	// AsOf is when the server read them.
	AsOf time.Time
	// RulesSum is that of the server's table of rules.
	RulesSum section.Sum
	// Sections are in the order of their names.
	Sections []Named
}

// placed is a section and where its frame stands in the file.
type placed struct {
	Named
	offset, length int64
}

// appendIndex writes the index of frames of the given lengths.
func appendIndex(b []byte, h Head, lengths []int64) []byte {
	text := func(s string) {
		b = binary.AppendUvarint(b, uint64(len(s)))
		b = append(b, s...)
	}
	text(h.Site)
	b = binary.AppendVarint(b, h.AsOf.UnixMicro())
	b = append(b, h.RulesSum[:]...)
	b = binary.AppendUvarint(b, uint64(len(h.Sections)))
	for i, s := range h.Sections {
		text(s.Name)
		b = append(b, s.Sum[:]...)
		b = binary.AppendUvarint(b, uint64(lengths[i]))
	}
	return b
}

// leastEntry is the fewest bytes of the index that a section takes: two lengths and its
// sum.
const leastEntry = 1 + sha256.Size + 1

var errIndex = errors.New("its index can't be read")

// cursor reads an index from front to back. What is missing gives zero values, and
// bad says so at the end.
type cursor struct {
	rest string
	bad  bool
}

func (c *cursor) take(n uint64) string {
	if n > uint64(len(c.rest)) {
		c.bad = true
		return ""
	}
	taken := c.rest[:n]
	c.rest = c.rest[n:]
	return taken
}

func (c *cursor) number() uint64 {
	v, shift := uint64(0), 0
	for i := 0; i < len(c.rest) && i < binary.MaxVarintLen64; i++ {
		b := c.rest[i]
		v |= uint64(b&0x7f) << shift
		if b < 0x80 {
			c.rest = c.rest[i+1:]
			return v
		}
		shift += 7
	}
	c.bad = true
	return 0
}

func (c *cursor) signed() int64 {
	v := c.number()
	return int64(v>>1) ^ -int64(v&1)
}

func (c *cursor) text() string { return c.take(c.number()) }

func (c *cursor) sum() (s section.Sum) {
	copy(s[:], c.take(uint64(len(s))))
	return s
}

// readIndex reads an index; begin is where the first frame stands.
func readIndex(index string, begin int64) (h Head, sections []placed, end int64, err error) {
	c := cursor{rest: index}
	h.Site = c.text()
	h.AsOf = time.UnixMicro(c.signed()).UTC()
	h.RulesSum = c.sum()
	n := c.number()
	if n > uint64(len(c.rest))/leastEntry {
		return h, nil, 0, errIndex // no room is made for more than there can be
	}
	sections = make([]placed, n)
	for i := range sections {
		s := &sections[i]
		s.Name, s.Sum = c.text(), c.sum()
		s.offset, s.length = begin, int64(c.number())
		if s.length < 0 || s.length > mostIndex {
			c.bad = true
			break
		}
		begin += s.length
	}
	if c.bad || c.rest != "" {
		return h, nil, 0, errIndex
	}
	return h, sections, begin, nil
}

// openFile opens a file and reads its index. The error is a *Damaged, or that of the
// operating system when the file can't be read at all.
func openFile(folder, site string) (*os.File, Head, []placed, error) {
	f, err := os.Open(Path(folder, site))
	if err != nil {
		return nil, Head{}, nil, err
	}
	h, sections, err := indexOf(f)
	if err == nil && h.Site != site {
		err = fmt.Errorf("the file holds those of %q", h.Site)
	}
	if err != nil {
		f.Close() //nolint:errcheck // it was only read
		return nil, Head{}, nil, &Damaged{site, err}
	}
	return f, h, sections, nil
}

func indexOf(f *os.File) (Head, []placed, error) {
	info, err := f.Stat()
	if err != nil {
		return Head{}, nil, err
	}
	// Most indices are read with the first try.
	b := make([]byte, min(info.Size(), 16<<10))
	if _, err := f.ReadAt(b, 0); err != nil {
		return Head{}, nil, err
	}
	const front = len(magic) + 4
	if len(b) < front || string(b[:len(magic)-1]) != magic[:len(magic)-1] {
		return Head{}, nil, errors.New("the file is not one of carried data")
	}
	if string(b[:len(magic)]) != magic {
		return Head{}, nil, errors.New("another version of this program wrote the file")
	}
	length := int64(binary.LittleEndian.Uint32(b[len(magic):]))
	begin := int64(front) + length + sha256.Size
	if length > mostIndex || begin > info.Size() {
		return Head{}, nil, errIndex
	}
	if begin > int64(len(b)) {
		b = make([]byte, begin)
		if _, err := f.ReadAt(b, 0); err != nil {
			return Head{}, nil, err
		}
	}
	whole := b[:int64(front)+length]
	if sha256.Sum256(whole) != section.Sum(b[len(whole):begin]) {
		return Head{}, nil, errIndex
	}
	h, sections, end, err := readIndex(string(whole[front:]), begin)
	if err == nil && end != info.Size() {
		err = fmt.Errorf("the file has %d bytes where it should have %d", info.Size(), end)
	}
	return h, sections, err
}
