package store

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"jointledger/internal/metrology"
)

// No tool is left out whose cycles are used up by the horizon, as package metrology reckons
// from each use: whether its calibration was long ago or within the days that its use is
// forecast from. And most of the others are.
func TestNoToolThatRunsOutIsLeftOut(t *testing.T) {
	t.Parallel()
	chance := rand.New(rand.NewPCG(3, 8))
	const tool = 1
	var runOut, lately, leftOut, lookedAt int
	for range 4000 {
		asOf := time.Date(2026, 3, 1+chance.IntN(60), chance.IntN(24), chance.IntN(60), 0, 0, time.UTC)
		since := asOf.Add(-time.Duration(chance.IntN(2000)) * time.Hour)
		if chance.IntN(2) == 0 {
			since = asOf.Add(-time.Duration(1+chance.IntN(40*24)) * time.Hour)
		}
		aDay := 1 + chance.IntN(60)
		var uses []metrology.Use
		m := newUseMemory()
		m.tools = map[int64][]usedDay{}
		// As much before the calibration, which the memory has too, and does not tell apart.
		for at := since.Add(-20 * 24 * time.Hour); at.Before(asOf.Add(24 * time.Hour)); at = at.Add(time.Duration(1+chance.IntN(2*24*60)) * time.Minute) {
			n := chance.IntN(2*aDay + 1)
			if chance.IntN(40) == 0 {
				n *= 20
			}
			if chance.IntN(600) == 0 {
				n += mostUsed // more than a day can say
			}
			m.tools[tool] = addUse(m.tools[tool], floorHour(micro(at)), int64(n))
			if at.After(since) {
				uses = append(uses, metrology.Use{At: at, Fasteners: n})
			}
		}
		slices.SortFunc(uses, func(a, b metrology.Use) int { return a.At.Compare(b.At) })
		cycles, days := 200+chance.IntN(6000), chance.IntN(45)
		if chance.IntN(4) == 0 {
			cycles += 3 * mostUsed
		}
		due, err := metrology.CycleUse{Since: since, Uses: uses, AsOf: asOf}.Due(cycles)
		if err != nil {
			t.Fatal(err)
		}
		end := due.Known() && !due.At.After(asOf.Add(time.Duration(days)*24*time.Hour))
		may := m.mayRunOut(tool, m.since(tool, floorHour(micro(since))), int64(cycles), micro(asOf), int64(days))
		switch {
		case end && !may:
			t.Fatalf("%d cycles, %d days ahead of %v, calibrated %v: %+v, and it is left out", cycles, days, asOf, since, due)
		case end:
			runOut++
			if asOf.Sub(since) < metrology.ForecastWindow {
				lately++
			}
		case may:
			lookedAt++
		default:
			leftOut++
		}
	}
	if runOut < 500 || lately < 100 || leftOut < 500 || leftOut < lookedAt {
		t.Errorf("%d ran out, %d of them calibrated lately; of the others %d were left out and %d not: the chance of this test proves little", runOut, lately, leftOut, lookedAt)
	}
}
