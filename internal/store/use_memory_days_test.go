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
			m.tools[tool] = addUse(m.tools[tool], floorHour(micro(at)), int64(n))
			if at.After(since) {
				uses = append(uses, metrology.Use{At: at, Fasteners: n})
			}
		}
		slices.SortFunc(uses, func(a, b metrology.Use) int { return a.At.Compare(b.At) })
		cycles, days := 200+chance.IntN(6000), chance.IntN(45)
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

// A day and its use come back as they were put in, as far as they fit; what does not fit is
// more than all cycles there are, and such a tool's hours are read.
func TestUseOfADayIsKeptAsFarAsItFits(t *testing.T) {
	t.Parallel()
	day := func(y int, m time.Month, d int) int64 { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400 }
	for _, c := range []struct {
		day  int64
		uses []int64 // of hours
		want int64
	}{
		{day(1970, 1, 1), []int64{0}, 0}, {day(1970, 1, 1), []int64{12, 30}, 42}, {day(2999, 12, 31), []int64{8190}, 8190},
		{day(2026, 3, 1), []int64{8191}, many}, {day(2026, 3, 1), []int64{8192}, many}, {day(2026, 3, 1), []int64{5000, 5000}, many},
		{day(2026, 3, 1), []int64{20_000, 1}, many}, {day(2687, 9, 23), []int64{77}, 77},
	} {
		days := []usedDay{newUsedDay(int32(max(c.day-1, 0)), 1)}
		for hour, n := range c.uses {
			days = addUse(days, (c.day+1)*hoursPerDay+int64(hour), n)
		}
		if len(days) != 2 || int64(days[1].day()) != c.day+1 || days[1].fasteners() != c.want {
			t.Errorf("%v on day %d come back as %d days, the last %d with %d; expected %d", c.uses, c.day+1, len(days), days[len(days)-1].day(), days[len(days)-1].fasteners(), c.want)
		}
		if i := findDay(days, int32(c.day+1)); i != 1 {
			t.Errorf("day %d is found at %d", c.day+1, i)
		}
		if i := findDay(days, int32(c.day+2)); i != 2 {
			t.Errorf("what is after day %d is found at %d", c.day+1, i)
		}
	}

	const tool = 1
	asOf := time.Date(2026, 3, 20, 12, 0, 0, 0, time.UTC)
	m := newUseMemory()
	m.tools = map[int64][]usedDay{}
	for ago := range 3 {
		m.tools[tool] = addUse(m.tools[tool], floorHour(micro(asOf.AddDate(0, 0, ago-10))), 20_000)
	}
	since := floorHour(micro(asOf.AddDate(0, 0, -15)))
	if !m.mayRunOut(tool, m.since(tool, since), 50_000, micro(asOf), 0) {
		t.Error("60,000 fasteners may use up 50,000 cycles")
	}
	r := &trackedRow{key: tool, since: micro(asOf.AddDate(0, 0, -15)), back: micro(asOf.AddDate(0, 0, -15))}
	for _, cycles := range []int{0, 50_000} {
		r.tool.Due.Tool.IntervalCycles = cycles
		if _, ok := m.fill(r, micro(asOf)); ok {
			t.Errorf("with %d cycles, days stand for hours though they do not say how many fasteners there were", cycles)
		}
	}
}
