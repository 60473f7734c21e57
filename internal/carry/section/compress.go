package section

import (
	"crypto/sha256"
	"fmt"
	"sync"

	"github.com/klauspost/compress/zstd"
)

// mostContent bounds what a frame may unpack to: a cell of 100,000 joints with ten
// tightenings each stays below it.
const mostContent = 64 << 20

// The coders are made when they are first needed: an entry must not wait for them.
// Both may be used by several at once.
var (
	encoder = sync.OnceValue(func() *zstd.Encoder {
		e, err := zstd.NewWriter(nil, zstd.WithEncoderConcurrency(1), zstd.WithEncoderLevel(zstd.SpeedBetterCompression), zstd.WithEncoderCRC(false))
		if err != nil {
			panic(err) // only for options that contradict each other
		}
		return e
	})
	decoder = sync.OnceValue(func() *zstd.Decoder {
		d, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(mostContent))
		if err != nil {
			panic(err)
		}
		return d
	})
)

// Sum is the SHA-256 of a content, by which a device knows whether it has it.
type Sum = [sha256.Size]byte

// Sum gives the sum of the content.
func (s Section) Sum() Sum { return sha256.Sum256(s.Content) }

// Packed gives the content as one Zstandard frame (RFC 8878).
func (s Section) Packed() []byte { return encoder().EncodeAll(s.Content, nil) }

// Unpack reads a section from its frame and checks it against its sum. The error
// says that the section is damaged.
func Unpack(name string, frame []byte, sum Sum) (Section, error) {
	content, err := decoder().DecodeAll(frame, nil)
	if err != nil {
		return Section{}, fmt.Errorf("the carried section %s can't be unpacked: %w", name, err)
	}
	s := Section{Name: name, Content: content}
	if s.Sum() != sum {
		return Section{}, fmt.Errorf("the carried section %s has another content than its sum says", name)
	}
	return s, nil
}
