package main

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
	garbagePercent = 200
	// memoryFloor is what Go may always use, and memoryHeadroom what it may use beside
	// half as much again as is alive.
	memoryFloor, memoryHeadroom = 36 << 20, 12 << 20
	memoryEvery                 = 5 * time.Second
)

// keepGarbage follows what is alive until it is stopped. GOGC or GOMEMLIMIT in the
// environment say otherwise.
func keepGarbage() (stop func()) {
	if os.Getenv("GOGC") != "" || os.Getenv("GOMEMLIMIT") != "" {
		return func() {}
	}
	percent, limit := debug.SetGCPercent(garbagePercent), debug.SetMemoryLimit(memoryFloor)
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
				debug.SetMemoryLimit(memoryFor(liveHeap()))
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

// memoryFor is the limit at so many bytes alive. It grows with them: a limit that what
// is alive comes near would have Go collect all the time.
func memoryFor(live uint64) int64 {
	return max(memoryFloor, int64(live+live/2)+memoryHeadroom)
}

// liveHeap is what the last collection found alive, in bytes.
func liveHeap() uint64 {
	s := []metrics.Sample{{Name: "/gc/heap/live:bytes"}}
	metrics.Read(s)
	if s[0].Value.Kind() != metrics.KindUint64 {
		return 0
	}
	return s[0].Value.Uint64()
}
