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
// Where that has Go collect much of the time, as while a large file is taken in, it gets
// more for as long.
const (
	// Percent is what Go calls GOGC.
	Percent = 200
	// memoryFloor is what Go may always use, and memoryHeadroom what it may use beside
	// a quarter as much again as is alive.
	memoryFloor, memoryHeadroom = 32 << 20, 4 << 20
	// plenty is so much alive that the machine is not a small one.
	plenty      = 64 << 20
	memoryEvery = time.Second
	// Of the time that the program has of its processors, collecting may take much for
	// so many seconds before there is twice as much room, up to mostRoom times; it takes
	// little when there is half.
	much, little = 0.15, 0.03
	patience     = 3
	mostRoom     = 4
)

// Keep sets how much garbage there may be, and follows what is alive until it is stopped.
// GOGC or GOMEMLIMIT in the environment say otherwise.
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
		r, before := room{times: 1}, spentNow()
		for {
			select {
			case <-ended:
				return
			case <-tick.C:
				now := spentNow()
				wider := r.times > 1
				r.follow(now.since(before))
				before = now
				live, besides := inUse()
				debug.SetMemoryLimit(memoryFor(live, besides, r.times))
				if wider && r.times == 1 {
					debug.FreeOSMemory() // what is over now
				}
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
// heap, with so many times the usual room. It grows with them: a limit that they come near
// would have Go collect all the time. Whoever has much alive has more room than by a plain
// quarter.
func memoryFor(live, besides, times uint64) int64 {
	room := live / 4
	if live > plenty {
		room = live
	}
	return max(memoryFloor, int64(live+room*times+besides)+memoryHeadroom)
}

// spent are seconds of processors: in collecting, and in all that the program does.
type spent struct{ collecting, all float64 }

func (s spent) since(before spent) spent {
	return spent{s.collecting - before.collecting, s.all - before.all}
}

// room is how many times the usual room there is, and for how many seconds collecting
// has taken much.
type room struct {
	times   uint64
	patient int
}

// follow makes the room larger or smaller by what was spent in a second.
func (r *room) follow(s spent) {
	switch {
	case s.all <= 0, s.collecting < little*s.all: // Go reckons only when it collects
		r.times, r.patient = max(1, r.times/2), 0
	case s.collecting <= much*s.all:
		r.patient = 0
	default:
		if r.patient++; r.patient >= patience {
			r.times = min(mostRoom, r.times*2)
		}
	}
}

func spentNow() spent {
	s := []metrics.Sample{{Name: "/cpu/classes/gc/total:cpu-seconds"}, {Name: "/cpu/classes/user:cpu-seconds"}}
	metrics.Read(s)
	of := func(i int) float64 {
		if s[i].Value.Kind() != metrics.KindFloat64 {
			return 0
		}
		return s[i].Value.Float64()
	}
	return spent{of(0), of(0) + of(1)}
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
