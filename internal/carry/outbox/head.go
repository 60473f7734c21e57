package outbox

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
)

// The file begins with a head, which is written again after each append but not
// flushed of its own: what it says may be one append behind, or gone, and everything
// can be counted again from the frames. It saves an entry from reading the file, and
// tells an unfinished write from a file that was cut short.
//
//	 8 bytes  the mark and version of the format
//	 8 bytes  the length of the file that was acknowledged
//	 8 bytes  the last sequence
//	 4 bytes  how many entries wait
//	 4 bytes  how many were refused and not seen to
//	 8 bytes  the first of the SHA-256 over these
//	24 bytes  zeros
type head struct {
	length   int64
	sequence uint64
	count    Count
}

const (
	headSize = 64
	headUsed = 32
	version  = 1
)

var fileMark = []byte("JLOUTBX")

// errNewer is what a file of a later format gives.
var errNewer = errors.New("the outbox was written by a newer trackctl; use that one, or send what it holds with it first")

func (h head) bytes() []byte {
	b := make([]byte, 0, headSize)
	b = append(append(b, fileMark...), version)
	b = binary.LittleEndian.AppendUint64(b, uint64(h.length))
	b = binary.LittleEndian.AppendUint64(b, h.sequence)
	b = binary.LittleEndian.AppendUint32(b, uint32(h.count.Waiting))
	b = binary.LittleEndian.AppendUint32(b, uint32(h.count.Refused))
	sum := sha256.Sum256(b)
	b = append(b, sum[:8]...)
	return b[:headSize]
}

// readHead reads the head; false when it is damaged. Errors: errNewer.
func readHead(b []byte) (head, bool, error) {
	if len(b) < headSize {
		return head{}, false, nil
	}
	sum := sha256.Sum256(b[:headUsed])
	if !bytes.Equal(sum[:8], b[headUsed:headUsed+8]) || !bytes.HasPrefix(b, fileMark) {
		return head{}, false, nil
	}
	if b[len(fileMark)] != version {
		return head{}, false, errNewer
	}
	return head{
		length:   int64(binary.LittleEndian.Uint64(b[8:])),
		sequence: binary.LittleEndian.Uint64(b[16:]),
		count:    Count{Waiting: int(binary.LittleEndian.Uint32(b[24:])), Refused: int(binary.LittleEndian.Uint32(b[28:]))},
	}, true, nil
}
