package csvfile

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"
)

// FuzzCell reads any text as a number and as a time: what is read is finite and is the
// same when it is written in full and read again, and what is refused gives nothing
// and says what was expected.
func FuzzCell(f *testing.F) {
	for _, seed := range []string{
		"12.5", "+.5", "5.", "-0", "1e3", "1e999", "1e-999", "NaN", "0x1p3", "1_000", "31,5", "1,800", "1'800.5", "1\u202f800", "١", "",
		TimeExample, "2026-03-02T07:25:00Z", "2026-03-02T07:25:00.123456789-07:00", "2026-02-29T00:00:00Z", "2026-03-02T24:00:00Z", "2026-03-02T07:25:60Z",
		"2026-03-02T07:25:00+24:00", "2026-03-02 07:25:00Z", "2026-03-02t07:25:00z", "0000-01-01T00:00:00+23:59", "9999-12-31T23:59:59-23:59",
	} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		v, problem := ParseNumber(text)
		switch {
		case problem != "":
			if v != 0 || !strings.HasPrefix(problem, "expected ") {
				t.Errorf("%q is %g besides %q", text, v, problem)
			}
		case math.IsNaN(v) || math.IsInf(v, 0):
			t.Errorf("%q is %g", text, v)
		default:
			if again, problem := ParseNumber(strconv.FormatFloat(v, 'g', -1, 64)); problem != "" || again != v {
				t.Errorf("%q is %g, which reads back as %g, %s", text, v, again, problem)
			}
		}
		at, err := ParseTime(text)
		if err != nil {
			if !at.IsZero() || !strings.HasPrefix(err.Error(), "expected ") {
				t.Errorf("%q is %v besides %v", text, at, err)
			}
			return
		}
		again, err := ParseTime(at.Format(time.RFC3339Nano))
		if err != nil || !again.Equal(at) || again.Format(time.RFC3339Nano) != at.Format(time.RFC3339Nano) {
			t.Errorf("%q is %v, which reads back as %v, %v", text, at, again, err)
		}
	})
}
