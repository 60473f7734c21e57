package outbox

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
)

// A frame is what is appended at a time:
//
//	4 bytes  the mark that frames begin with
//	4 bytes  length of the payload, little-endian as the others
//	8 bytes  sequence, counted from 1 in the file
//	8 bytes  the first of the SHA-256 over length, sequence and payload
//	         payload
//
// The mark has two bytes that no UTF-8 text has, so that no text in a payload looks
// like the beginning of a frame, and reading can go on behind a damaged one.
var frameMark = []byte{0xFF, 'J', 'L', 0xFE}

const (
	frameHead = 24
	// maxPayload is more than any record has: a calibration with all its test points
	// and the longest note has less than 64 KiB.
	maxPayload = 4 << 20
)

// frame is one that was read whole.
type frame struct {
	sequence uint64
	payload  []byte
	// at and end are where it stands in the file.
	at, end int
}

// appendFrame appends a frame to b.
func appendFrame(b []byte, sequence uint64, payload []byte) []byte {
	start := len(b)
	b = append(b, frameMark...)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(payload)))
	b = binary.LittleEndian.AppendUint64(b, sequence)
	sum := frameSum(b[start+4:start+16], payload)
	b = append(b, sum[:]...)
	return append(b, payload...)
}

func frameSum(head, payload []byte) [8]byte {
	h := sha256.New()
	h.Write(head)
	h.Write(payload)
	var whole [sha256.Size]byte
	h.Sum(whole[:0])
	return [8]byte(whole[:8])
}

// frameAt reads the frame that begins at the offset; false when none does that is
// whole.
func frameAt(data []byte, at int) (frame, bool) {
	rest := data[at:]
	if len(rest) < frameHead || !bytes.HasPrefix(rest, frameMark) {
		return frame{}, false
	}
	n := binary.LittleEndian.Uint32(rest[4:])
	if n > maxPayload || int(n) > len(rest)-frameHead {
		return frame{}, false
	}
	payload := rest[frameHead : frameHead+int(n)]
	if frameSum(rest[4:16], payload) != [8]byte(rest[16:24]) {
		return frame{}, false
	}
	return frame{sequence: binary.LittleEndian.Uint64(rest[8:]), payload: payload, at: at, end: at + frameHead + int(n)}, true
}

// gap is a part of the file in which no whole frame is.
type gap struct{ at, end int }

// scan reads all whole frames from the offset on, and where there are none between
// them.
func scan(data []byte, from int) (frames []frame, gaps []gap) {
	for at := from; at < len(data); {
		f, ok := frameAt(data, at)
		if ok {
			frames, at = append(frames, f), f.end
			continue
		}
		next := nextFrame(data, at+1)
		gaps, at = append(gaps, gap{at, next}), next
	}
	return frames, gaps
}

// nextFrame is where the next whole frame begins; the end of the data when there is
// none.
func nextFrame(data []byte, from int) int {
	for at := from; at < len(data); at++ {
		i := bytes.Index(data[at:], frameMark)
		if i < 0 {
			break
		}
		at += i
		if _, ok := frameAt(data, at); ok {
			return at
		}
	}
	return len(data)
}

// unfinished says whether the bytes to the end of the file are what a write leaves
// that was cut off: the first part of a frame, or zeros.
func unfinished(tail []byte) bool {
	if len(bytes.TrimLeft(tail, "\x00")) == 0 {
		return true
	}
	if len(tail) < len(frameMark) {
		return bytes.HasPrefix(frameMark, tail)
	}
	if !bytes.HasPrefix(tail, frameMark) {
		return false
	}
	if len(tail) < frameHead {
		return true
	}
	n := binary.LittleEndian.Uint32(tail[4:])
	return n <= maxPayload && int(n) > len(tail)-frameHead
}
