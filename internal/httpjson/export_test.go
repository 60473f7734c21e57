package httpjson

import (
	"testing"
	"time"
)

// MostLarge is mostLarge.
const MostLarge = mostLarge

// SetBodyTime sets how long a body may take, for one test, which must not be parallel.
func SetBodyTime(t *testing.T, d time.Duration) {
	unary, stream := bodyTime, streamTime
	t.Cleanup(func() { bodyTime, streamTime = unary, stream })
	bodyTime, streamTime = d, d
}
