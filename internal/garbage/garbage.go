package garbage

import (
	"os"
	"runtime/debug"
	"runtime/metrics"
	"time"
)

// Garbage is let grow to twice what is alive before it is collected, where Go by itself
// collects at as much again: that takes a tenth of the time under load. But only as long
// as the whole is small: a server at a site shares its machine, and must do with 100 MiB.
const (
	// Percent is what Go calls GOGC.
	Percent = 200
	// memoryFloor is what Go may always use, and memoryHeadroom what it may use beside
	// a third as much again as is alive.
	memoryFloor, memoryHeadroom = 36 << 20, 8 << 20
	// plenty is so much alive that the machine is not a small one.
	plenty      = 64 << 20
	memoryEvery = 5 * time.Second
)

// Keep sets how much garbage there may be, and follows what is alive until it is stopped. GOGC or GOMEMLIMIT in the
// environment say otherwise.
func Keep() (stop func()) {
	if os.Getenv("GOGC") != "" || os.Getenv("GOMEMLIMIT") != "" {
		return func() {}
	}
	percent, limit := debug.SetGCPercent(Percent), debug.SetMemoryLimit(memoryFloor)
	ended := make(chan struct{})
	done := make(chan struct{})
	go func() {
		defer close(done)
		tick := time.NewTicker(memoryEvery)
		defer tick.Stop()
		for {
			select {
			case <-ended:
				return
			case <-tick.C:
				debug.SetMemoryLimit(memoryFor(inUse()))
			}
		}
	}()
	return func() {
		close(ended)
		<-done
		debug.SetGCPercent(percent)
		debug.SetMemoryLimit(limit)
	}
}

// memoryFor is the limit at so many bytes alive, and so many that Go has besides its
// heap. It grows with them: a limit that they come near would have Go collect all the
// time. Whoever has much alive has more room than by a plain third.
func memoryFor(live, besides uint64) int64 {
	room := live / 3
	if live > plenty {
		room = live
	}
	return max(memoryFloor, int64(live+room+besides)+memoryHeadroom)
}

// inUse is what the last collection found alive, and what Go has besides its heap
// (stacks, its own books), in bytes.
func inUse() (live, besides uint64) {
	s := []metrics.Sample{{Name: "/gc/heap/live:bytes"}, {Name: "/memory/classes/total:bytes"}, {Name: "/memory/classes/heap/released:bytes"},
		{Name: "/memory/classes/heap/objects:bytes"}, {Name: "/memory/classes/heap/unused:bytes"}, {Name: "/memory/classes/heap/free:bytes"}}
	metrics.Read(s)
	of := func(i int) uint64 {
		if s[i].Value.Kind() != metrics.KindUint64 {
			return 0
		}
		return s[i].Value.Uint64()
	}
	besides = of(1)
	for i := 2; i < len(s); i++ {
		besides -= min(besides, of(i))
	}
	return of(0), besides
}
