package cli

import (
	"crypto/sha256"
	"strings"
	"testing"
	"time"

	pb "jointledger/proto/jointledger/v1"
)

// The id of a line is a UUIDv7 (RFC 9562, 5.7: 48 bits of milliseconds, version 7,
// variant 10), the same for the same line and another for another.
func TestLineID(t *testing.T) {
	at := time.Date(2026, 3, 2, 7, 25, 0, 123e6, time.UTC)
	id := lineID(at, sha256.Sum256([]byte("a")))
	if id.Version() != 7 || id.Variant().String() != "RFC4122" {
		t.Errorf("%s: version %d, variant %s", id, id.Version(), id.Variant())
	}
	// 2026-03-02T07:25:00.123Z is 1772436300123 ms after the epoch: 0x019cad6fa15b.
	if got := id.String()[:13]; got != "019cad6f-a15b" {
		t.Errorf("%s begins with %s", id, got)
	}
	if id != lineID(at, sha256.Sum256([]byte("a"))) || id == lineID(at, sha256.Sum256([]byte("b"))) {
		t.Error("ids do not follow from the line")
	}
	if early := lineID(time.Unix(-1, 0), sha256.Sum256(nil)); early.Version() != 7 {
		t.Errorf("%s before 1970", early)
	}
}

// Two programs of one major part understand each other; which of them is older is said.
func TestCompatibility(t *testing.T) {
	for _, tc := range []struct {
		major, revision  int32
		understood, same bool
		want             string
	}{
		{pb.APIMajor, pb.APIRevision, true, true, "both speak API"},
		{pb.APIMajor, pb.APIRevision - 1, true, false, "the server is older"},
		{pb.APIMajor, pb.APIRevision + 1, true, false, "this trackctl is older"},
		{pb.APIMajor + 1, 0, false, false, "this trackctl is too old"},
		{pb.APIMajor - 1, 99, false, false, "the server is too old"},
	} {
		sentence, understood, same := compatibility(&pb.Server{ApiMajor: tc.major, ApiRevision: tc.revision})
		if understood != tc.understood || same != tc.same || !strings.Contains(sentence, tc.want) {
			t.Errorf("%d.%d: %q, %v, %v", tc.major, tc.revision, sentence, understood, same)
		}
	}
}

// A clock is right within the time that the call took, looked at from 30 s and wrong
// from 5 min on.
func TestCheckClock(t *testing.T) {
	at := time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)
	for off, want := range map[time.Duration]string{0: checkOK, 900 * time.Millisecond: checkOK, -20 * time.Second: checkOK, 31 * time.Second: checkLook, -301 * time.Second: checkWrong, 24 * time.Hour: checkWrong} {
		c := checkClock(reached{server: &pb.Server{ServerTime: stamp(at)}, latency: 10 * time.Millisecond, middle: at.Add(off)})
		if c.state != want {
			t.Errorf("%s off: %s, %s", off, c.state, c.message)
		}
		if off == 24*time.Hour && c.message != "24h0m0s ahead of the server's" {
			t.Errorf("%q", c.message)
		}
	}
}
