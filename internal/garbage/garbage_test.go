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
		got := memoryFor(live, 4<<20, 1)
		if got < memoryFloor || got < int64(live)*5/4+4<<20 {
			t.Errorf("with %d bytes alive the limit is %d", live, got)
		}
	}
	if memoryFor(1<<20, 4<<20, 1) != memoryFloor {
		t.Errorf("with a mebibyte alive the limit is %d, expected the floor", memoryFor(1<<20, 4<<20, 1))
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

// Collecting much of the time gives more room, up to a bound, and little takes it back.
func TestRoomFollowsWhatCollectingTakes(t *testing.T) {
	r := room{times: 1}
	for i, step := range []struct {
		spent spent
		want  uint64
	}{
		{spent{0.05, 1}, 1}, {spent{0.2, 1}, 1}, {spent{0.2, 1}, 1}, {spent{0.05, 1}, 1}, // not for long
		{spent{0.2, 1}, 1}, {spent{0.2, 1}, 1}, {spent{0.2, 1}, 2}, {spent{0.2, 1}, 4}, {spent{0.9, 1}, 4},
		{spent{0.05, 1}, 4}, {spent{0.01, 1}, 2}, {spent{}, 1}, {spent{}, 1},
	} {
		if r.follow(step.spent); r.times != step.want {
			t.Errorf("step %d: %d times the room, expected %d", i, r.times, step.want)
		}
	}
	if one, four := memoryFor(24<<20, 12<<20, 1), memoryFor(24<<20, 12<<20, 4); four-one != 3*6<<20 {
		t.Errorf("with 24 MiB alive the limit is %d, and %d with four times the room", one, four)
	}
}

func TestCollectingIsCounted(t *testing.T) {
	before := spentNow()
	for range 20 {
		runtime.GC()
	}
	if s := spentNow().since(before); s.collecting <= 0 || s.all < s.collecting {
		t.Errorf("after twenty collections %+v more was spent", s)
	}
}
