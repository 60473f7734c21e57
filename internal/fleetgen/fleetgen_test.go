package fleetgen

import (
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"runtime"
	"testing"
	"time"
)

// fleet returns a fleet or fails the test.
func fleet(t testing.TB, cfg Config) *Fleet {
	t.Helper()
	f, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// digest hashes every field of every row.
func digest(f *Fleet) uint64 {
	h := fnv.New64a()
	for r := range f.Rows() {
		fmt.Fprintf(h, "%v %s\n", r, r.At.Format(time.RFC3339))
	}
	return h.Sum64()
}

func TestSameConfigurationSameRows(t *testing.T) {
	cfg := Config{Seed: 7, Attempts: 60_000}
	first := digest(fleet(t, cfg))
	f := fleet(t, cfg)
	if again := digest(f); again != first {
		t.Errorf("a second fleet gives %x, the first %x", again, first)
	}
	if again := digest(f); again != first {
		t.Errorf("a second walk over one fleet gives %x, the first %x", again, first)
	}
	cfg.Seed = 8
	if digest(fleet(t, cfg)) == first {
		t.Error("another seed gives the same rows")
	}
}

// A longer stream begins with the shorter one: the limit only says where to
// stop.
func TestLimitOnlyStops(t *testing.T) {
	var short []Row
	for r := range fleet(t, Config{Seed: 3, Tightenings: 500}).Rows() {
		short = append(short, r)
	}
	i := 0
	for r := range fleet(t, Config{Seed: 3, Tightenings: 5000}).Rows() {
		if i == len(short) {
			break
		}
		// Two fleets hold two pointers to equal zones: compare what they print.
		if got, want := fmt.Sprintf("%+v", r), fmt.Sprintf("%+v", short[i]); got != want {
			t.Fatalf("row %d: %s, in the short stream %s", i, got, want)
		}
		i++
	}
	if i != len(short) {
		t.Errorf("%d rows in common, want %d", i, len(short))
	}
}

func TestLimitsAreExact(t *testing.T) {
	for _, n := range []int{1, 2, 7, 15, 16, 17, 1000, 12_345, 200_000} {
		attempts := 0
		for r := range fleet(t, Config{Seed: uint64(n), Attempts: n}).Rows() {
			if r.Fasteners < 1 {
				t.Fatalf("a row of %d fasteners: %+v", r.Fasteners, r)
			}
			attempts += r.Attempts()
		}
		if attempts != n {
			t.Errorf("%d attempts, want %d", attempts, n)
		}
		tightenings := 0
		for r := range fleet(t, Config{Seed: uint64(n), Tightenings: n}).Rows() {
			if r.Kind == KindTightening {
				tightenings++
			}
		}
		if tightenings != n {
			t.Errorf("%d tightenings, want %d", tightenings, n)
		}
	}
}

func TestConfigurationIsChecked(t *testing.T) {
	for _, cfg := range []Config{{}, {Attempts: 1, Tightenings: 1}, {Attempts: -1}, {Attempts: 5, Tightenings: -1}} {
		if _, err := New(cfg); !errors.Is(err, ErrLimit) {
			t.Errorf("%+v: error %v, want ErrLimit", cfg, err)
		}
	}
	for _, cfg := range []Config{{Attempts: 1, Sites: -1}, {Attempts: 1, Sites: mostSites + 1}, {Attempts: 1, Crews: -1}, {Attempts: 1, Crews: mostCrews + 1}} {
		if _, err := New(cfg); err == nil || errors.Is(err, ErrLimit) {
			t.Errorf("%+v: error %v, want one about the size", cfg, err)
		}
	}
}

// A consumer may stop a stream; the stream then ends without another row.
func TestConsumerStops(t *testing.T) {
	f := fleet(t, Config{Seed: 1, Tightenings: 100_000})
	rows, joints, lots := 0, 0, 0
	for range f.Rows() {
		if rows++; rows == 10 {
			break
		}
	}
	for range f.Joints() {
		if joints++; joints == 10 {
			break
		}
	}
	for range f.Lots() {
		if lots++; lots == 10 {
			break
		}
	}
	if rows != 10 || joints != 10 || lots != 10 {
		t.Errorf("stopped after %d rows, %d joints, %d lots, want 10 each", rows, joints, lots)
	}
}

// The things announced are exactly those that the rows name.
func TestThingsBeforeRows(t *testing.T) {
	f := fleet(t, Config{Seed: 5, Attempts: 400_000, Sites: 10})
	joints, lots := map[string]int{}, map[string]Lot{}
	for j := range f.Joints() {
		k := j.Site + j.Tower + j.Cell + j.Joint
		if _, twice := joints[k]; twice {
			t.Fatalf("joint %s announced twice", k)
		}
		joints[k] = j.Fasteners
	}
	for l := range f.Lots() {
		if _, twice := lots[l.Lot]; twice {
			t.Fatalf("lot %s announced twice", l.Lot)
		}
		lots[l.Lot] = l
	}
	holder := map[string]Tool{}
	for _, tool := range f.Tools() {
		holder[tool.Serial] = tool
	}
	used := map[string]bool{}
	for r := range f.Rows() {
		k := r.Site + r.Tower + r.Cell + r.Joint
		if n, ok := joints[k]; !ok || r.Kind == KindTightening && n != r.Fasteners {
			t.Fatalf("joint %s: announced with %d fasteners (%v), row %+v", k, n, ok, r)
		}
		if r.Pass == PassFirst {
			used[k] = true
		}
		l, ok := lots[r.Lot]
		if !ok || l.Material == MaterialStainless && r.Treatment == TreatmentLocking ||
			l.Material == MaterialGalvanised && r.Treatment == TreatmentAntiSeize {
			t.Fatalf("lot %+v (%v) in row %+v", l, ok, r)
		}
		used[r.Lot] = true
		if h, ok := holder[r.Tool]; !ok || h.Person != r.Person || h.Site != r.Site {
			t.Fatalf("tool %+v (%v) in row %+v", h, ok, r)
		}
	}
	if len(used) != len(joints)+len(lots) {
		t.Errorf("%d joints and lots used, %d announced", len(used), len(joints)+len(lots))
	}
}

// tallyKey is what a daily tally is kept by.
type tallyKey struct {
	site, lot, treatment, method string
	day                          [3]int
}

func dayOf(at time.Time) [3]int {
	y, m, d := at.Date()
	return [3]int{y, int(m), d}
}

// census is what a million rows are asked for.
type census struct {
	tightenings         int
	keys                map[tallyKey]bool
	lotSites            map[string]map[string]bool
	lotDays             map[string][2]time.Time
	attempts, galled    [2][2]int // by bad lot, by treated
	sealAttempts, strip int
}

// take counts one row.
func (c *census) take(t *testing.T, r Row, bad map[string]Lot) {
	if r.Kind == KindTightening {
		c.tightenings++
	}
	if dayOf(r.At) != dayOf(r.At.UTC()) || r.At.Hour() < 7 || r.At.Hour() >= 18 || r.At.Weekday() == time.Sunday {
		t.Fatalf("work at %s", r.At)
	}
	c.keys[tallyKey{r.Site, r.Lot, r.Treatment, r.Method, dayOf(r.At)}] = true
	if c.lotSites[r.Lot] == nil {
		c.lotSites[r.Lot] = map[string]bool{}
		c.lotDays[r.Lot] = [2]time.Time{r.At, r.At}
	}
	c.lotSites[r.Lot][r.Site] = true
	c.lotDays[r.Lot] = [2]time.Time{c.lotDays[r.Lot][0], r.At}
	l := bad[r.Lot]
	if l.Material == MaterialStainless {
		i, j := 0, 0
		if l.Bad {
			i = 1
		}
		if r.Treatment == TreatmentAntiSeize {
			j = 1
		}
		c.attempts[i][j] += r.Attempts()
		if r.Kind == KindGalling {
			c.galled[i][j] += r.Fasteners
		}
	}
	if l.Thread == "M8" {
		c.sealAttempts += r.Attempts()
		if r.Kind == KindStripped {
			c.strip += r.Fasteners
		}
	}
}

// A million tightenings look like a fleet: a daily tally by site, lot, treatment
// and method has fewer than a tenth as many keys as there are rows; a lot is at
// few sites on few days; and the planted rates are in the counts, to within five
// standard errors of a binomial.
func TestMillionRowsLookLikeAFleet(t *testing.T) {
	const million = 1_000_000
	f := fleet(t, Config{Seed: 11, Tightenings: million})
	lots := map[string]Lot{}
	for l := range f.Lots() {
		lots[l.Lot] = l
	}
	c := census{keys: map[tallyKey]bool{}, lotSites: map[string]map[string]bool{}, lotDays: map[string][2]time.Time{}}
	for r := range f.Rows() {
		c.take(t, r, lots)
	}
	if c.tightenings != million {
		t.Errorf("%d tightenings", c.tightenings)
	}
	if share := float64(len(c.keys)) / million; share >= 0.10 || share < 0.001 {
		t.Errorf("%d keys: %.1f %% of the tightenings", len(c.keys), 100*share)
	}
	for lot, sites := range c.lotSites {
		days := c.lotDays[lot][1].Sub(c.lotDays[lot][0]).Hours() / 24
		if len(sites) > SitesPerPool || days > daysPerLot {
			t.Errorf("lot %s at %d sites over %.0f days", lot, len(sites), days)
		}
	}
	expect := func(what string, got, of int, rate float64) {
		want := rate * float64(of)
		if of == 0 || math.Abs(float64(got)-want) > 5*math.Sqrt(want*(1-rate)) {
			t.Errorf("%s: %d of %d, want about %.0f", what, got, of, want)
		}
	}
	// Planted a second time, in figures, so that the constants are held too.
	expect("galling", c.galled[0][1], c.attempts[0][1], 0.004)
	expect("galling, dry", c.galled[0][0], c.attempts[0][0], 0.012)
	expect("galling, bad lot", c.galled[1][1], c.attempts[1][1], 0.020)
	expect("stripped seam screws", c.strip, c.sealAttempts, 0.002)
}

// A crew does one day's work with one or two tools, its rows in order of time.
func TestCrewDays(t *testing.T) {
	f := fleet(t, Config{Seed: 2, Tightenings: 40_000, Sites: 5, Crews: 2})
	crewOf := map[string]string{}
	for i, tool := range f.Tools() {
		crewOf[tool.Serial] = fmt.Sprint(i / 2)
	}
	tools, last := map[string]map[string]bool{}, map[string]time.Time{}
	passes := map[string]int{}
	for r := range f.Rows() {
		k := crewOf[r.Tool] + r.At.Format(time.DateOnly)
		if tools[k] == nil {
			tools[k] = map[string]bool{}
		}
		tools[k][r.Tool] = true
		if !r.At.After(last[k]) {
			t.Fatalf("%+v at or before the row that went ahead of it, %s", r, last[k])
		}
		last[k] = r.At
		passes[r.Pass]++
		if r.Pass != PassFirst && r.Pass != "" && r.Method != MethodHand {
			t.Fatalf("a later pass by %s: %+v", r.Method, r)
		}
	}
	two := 0
	for k, used := range tools {
		if len(used) > 2 {
			t.Errorf("crew day %s with %d tools", k, len(used))
		}
		if len(used) == 2 {
			two++
		}
	}
	if two == 0 || two == len(tools) {
		t.Errorf("%d of %d crew days with two tools: want some of each", two, len(tools))
	}
	if passes[PassFinal] == 0 || passes[PassRetight] == 0 {
		t.Errorf("passes %v: want some of each", passes)
	}
}

// Live memory does not grow with the stream.
func TestMemoryIsIndependentOfLength(t *testing.T) {
	live := func() uint64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	f := fleet(t, Config{Seed: 4, Attempts: 6_000_000})
	n, early := 0, uint64(0)
	var late uint64
	for range f.Rows() {
		switch n++; n {
		case 5_000:
			early = live()
		case 400_000:
			late = live()
		}
	}
	if early == 0 || late == 0 {
		t.Fatalf("only %d rows", n)
	}
	if late > early+256<<10 {
		t.Errorf("live heap %d bytes after 5 000 rows, %d after 400 000", early, late)
	}
}

func TestZonesAreNamed(t *testing.T) {
	f := fleet(t, Config{Attempts: 1, Sites: 40})
	seen := map[string]bool{}
	for _, s := range f.Sites() {
		loc, err := time.LoadLocation(s.TimeZone)
		if err != nil {
			t.Fatal(err)
		}
		at := time.Date(2024, time.June, 3, 12, 0, 0, 0, s.loc)
		if got := at.In(loc).Format(time.TimeOnly); got != "12:00:00" {
			t.Errorf("%s: noon is %s in %s", s.Code, got, s.TimeZone)
		}
		seen[s.TimeZone] = true
	}
	if len(seen) < 5 {
		t.Errorf("zones %v", seen)
	}
}

// BenchmarkRows measures the stream itself: what a benchmark that feeds on it
// has to subtract.
func BenchmarkRows(b *testing.B) {
	f := fleet(b, Config{Seed: 9, Tightenings: max(b.N, 1)})
	b.ReportAllocs()
	b.ResetTimer()
	for range f.Rows() {
	}
}

// With its deliveries fixed, a fleet that works for longer uses no other lots.
func TestDeliveriesFixTheLots(t *testing.T) {
	cfg := Config{Seed: 5, Sites: 4, Crews: 2, Deliveries: 3, Attempts: 20_000}
	registered := map[string]bool{}
	for l := range fleet(t, cfg).Lots() {
		registered[l.Lot] = true
	}
	if want := 2 * len(specs) * 3; len(registered) != want {
		t.Errorf("%d lots; two pools, %d kinds, three deliveries make %d", len(registered), len(specs), want)
	}
	used := func(attempts int) map[string]bool {
		cfg.Attempts = attempts
		lots := map[string]bool{}
		for r := range fleet(t, cfg).Rows() {
			if !registered[r.Lot] {
				t.Fatalf("%s is not among the lots", r.Lot)
			}
			lots[r.Lot] = true
		}
		return lots
	}
	if short, long := used(20_000), used(200_000); len(short) != len(long) {
		t.Errorf("20,000 attempts use %d lots, ten times as many use %d", len(short), len(long))
	}
	if _, err := New(Config{Attempts: 1, Deliveries: -1}); err == nil {
		t.Error("less than no deliveries are taken")
	}
}

// One walk gives the joints and rows that two walks give, each joint before its rows.
func TestDrawGivesJointsBeforeTheirRows(t *testing.T) {
	f := fleet(t, Config{Seed: 5, Sites: 2, Attempts: 30_000})
	var joints, known int
	seen := map[[4]string]bool{}
	f.Draw(func(j Joint) bool { joints++; seen[[4]string{j.Site, j.Tower, j.Cell, j.Joint}] = true; return true },
		func(r Row) bool {
			if !seen[[4]string{r.Site, r.Tower, r.Cell, r.Joint}] {
				t.Fatalf("a row before its joint: %+v", r)
			}
			known++
			return true
		})
	for range f.Joints() {
		joints--
	}
	for range f.Rows() {
		known--
	}
	if joints != 0 || known != 0 {
		t.Errorf("one walk gives %+d joints and %+d rows more than a walk for each", joints, known)
	}
	stopped := 0
	f.Draw(func(Joint) bool { return true }, func(Row) bool { stopped++; return stopped < 10 })
	if stopped != 10 {
		t.Errorf("the walk went on to row %d after it was to stop at row 10", stopped)
	}
}
