package garbage

import (
	"runtime"
	"runtime/debug"
	"testing"
)

// What is alive never comes near the limit, however much it is; a little is let grow to
// the floor.
func TestTheMemoryLimitLeavesRoomForWhatIsAlive(t *testing.T) {
	for _, live := range []uint64{0, 1 << 20, 16 << 20, 64 << 20, 1 << 30, 64 << 30} {
		got := memoryFor(live, 4<<20)
		if got < memoryFloor || got < int64(live)*4/3+4<<20 {
			t.Errorf("with %d bytes alive the limit is %d", live, got)
		}
	}
	if memoryFor(1<<20, 4<<20) != memoryFloor {
		t.Errorf("with a mebibyte alive the limit is %d, expected the floor", memoryFor(1<<20, 4<<20))
	}
}

func TestTheSettingsOfMemoryEndWithTheServer(t *testing.T) {
	t.Setenv("GOGC", "")
	t.Setenv("GOMEMLIMIT", "")
	before := debug.SetMemoryLimit(-1)
	stop := Keep()
	if got := debug.SetMemoryLimit(-1); got != memoryFloor {
		t.Errorf("the limit of a server that has just begun is %d, expected %d", got, memoryFloor)
	}
	runtime.GC()
	if live, besides := inUse(); live == 0 || besides == 0 || besides > 1<<30 {
		t.Errorf("after a collection %d bytes are alive, and %d in use besides", live, besides)
	}
	stop()
	if got := debug.SetMemoryLimit(-1); got != before {
		t.Errorf("afterwards the limit is %d, before it was %d", got, before)
	}
}
