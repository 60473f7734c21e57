package fleetgen

import (
	"fmt"
	"time"
)

// drawing is one walk over the fleet's days. Its consumers return false to stop
// it.
type drawing struct {
	fleet *Fleet
	row   func(Row) bool
	joint func(Joint) bool
	lot   func(pool int, s *spec, delivery int) bool

	built       []int // joints begun, crew by crew
	tower       []string
	attempts    int
	tightenings int
	stopped     bool
	later       []Row // final passes and re-tightenings of the crew's day
}

// shift is one crew's working day.
type shift struct {
	site, crew int // crew counts over the whole fleet
	day        int // from the fleet's first
	draw       draws
	at         time.Time
	method     string
	untreated  bool
}

// run walks the days until the limit is reached or a consumer has had enough.
func (d *drawing) run() {
	f := d.fleet
	d.built = make([]int, len(f.crew))
	d.tower = make([]string, len(f.crew))
	for day := 0; !d.stopped; day++ {
		if f.cfg.Start.AddDate(0, 0, day).Weekday() == time.Sunday {
			continue
		}
		for c := range f.crew {
			if d.work(c, day); d.stopped {
				return
			}
		}
	}
}

// work draws one crew's day: eighteen to twenty-eight joints in the order of
// the cell, with one driving method throughout. One day in ten is lost to
// weather or to a missing delivery.
func (d *drawing) work(c, day int) {
	f := d.fleet
	s := &shift{site: c / f.cfg.Crews, crew: c, day: day, draw: f.draws(1, uint64(c), uint64(day))}
	if s.draw.float() < 0.1 {
		return
	}
	date := f.cfg.Start.AddDate(0, 0, day)
	s.at = time.Date(date.Year(), date.Month(), date.Day(), 7, s.draw.intn(20), s.draw.intn(60), 0, f.sites[s.site].loc)
	s.method = MethodHand
	if s.draw.float() < 0.4 {
		s.method = MethodImpact
	}
	s.untreated = s.draw.float() < UntreatedShare
	d.later = d.later[:0]
	for range 18 + s.draw.intn(11) {
		if d.fit(s); d.stopped {
			return
		}
	}
	for _, r := range d.later {
		s.pass(60, 120)
		r.At = s.at
		if d.emit(r); d.stopped {
			return
		}
	}
}

// pass moves the shift's clock on by a number of seconds from lo to hi.
func (s *shift) pass(lo, hi int) {
	s.at = s.at.Add(time.Duration(lo+s.draw.intn(hi-lo+1)) * time.Second)
}

// sizes are the numbers of fasteners in a joint, as often as they stand here.
var sizes = [...]int{8, 10, 10, 12, 16, 16, 20, 24}

// fit makes the crew's next joint: its failures, its first pass, and what has to
// be gone over at the end of the day.
func (d *drawing) fit(s *shift) {
	f := d.fleet
	n := d.built[s.crew]
	d.built[s.crew]++
	tower := n / (jointsPerCell * cellsPerTower)
	if n%(jointsPerCell*cellsPerTower) == 0 {
		// Towers of a site's crews are numbered in turn.
		d.tower[s.crew] = fmt.Sprintf("CT%d", tower*f.cfg.Crews+s.crew%f.cfg.Crews+1)
	}
	u := f.draws(2, uint64(s.crew), uint64(tower))
	stainless := u.float() < 0.7
	sp := specOf(stainless, n%jointsPerCell)
	pool := s.site / SitesPerPool
	load := f.load(pool, sp, s.day, s.crew, n)
	tool := f.crew[s.crew].small
	if sp.large {
		tool = f.crew[s.crew].large
	}
	r := Row{
		Site: f.sites[s.site].Code, Tower: d.tower[s.crew], Cell: f.cell[n/jointsPerCell%cellsPerTower], Joint: f.joint[n%jointsPerCell],
		Lot: lotName(pool, sp, load), Tool: tool.Serial, Person: tool.Person, Treatment: sp.treatment, Method: s.method,
	}
	if s.untreated && sp.treatment == TreatmentAntiSeize {
		r.Treatment = TreatmentNone
	}
	size := sizes[s.draw.intn(len(sizes))]
	if f.cfg.Attempts > 0 {
		size = min(size, f.cfg.Attempts-d.attempts)
	}
	if !d.announce(sp, pool, load, r, size) {
		return
	}
	d.fail(s, sp, r, size, f.bad(pool, sp, load))
	if d.stopped {
		return
	}
	d.tighten(s, sp, r, size)
}

// announce tells the consumers of things about the joint and the lot.
func (d *drawing) announce(sp *spec, pool, load int, r Row, size int) bool {
	if d.lot != nil && !d.lot(pool, sp, load) {
		d.stopped = true
	}
	if d.joint != nil && !d.stopped && !d.joint(Joint{Site: r.Site, Tower: r.Tower, Cell: r.Cell, Joint: r.Joint,
		Kind: sp.kind, Material: sp.material, Thread: sp.thread, Fasteners: size}) {
		d.stopped = true
	}
	return !d.stopped
}

// fail draws the failed attempts of a joint and emits one incident for each
// kind. With a limit on attempts, failures stop where they would leave no room
// for the fasteners themselves.
func (d *drawing) fail(s *shift, sp *spec, r Row, size int, bad bool) {
	var rates [3]float64
	if sp.material == MaterialStainless {
		rates[0] = GallingRate
		if bad {
			rates[0] = float64(rates[0] * BadLotFactor)
		}
		if r.Treatment == TreatmentNone {
			rates[0] = float64(rates[0] * UntreatedFactor)
		}
	}
	if sp.kind == "seam" {
		rates[1] = StrippedRate
	}
	rates[2] = CrossedRate
	room := -1
	if d.fleet.cfg.Attempts > 0 {
		room = d.fleet.cfg.Attempts - d.attempts - size
	}
	var lost [3]int
	for range size {
		for range failureReserve {
			kind := failure(rates, s.draw.float())
			if kind < 0 || room == 0 {
				break
			}
			lost[kind]++
			room--
		}
	}
	for i, kind := range [...]string{KindGalling, KindStripped, KindCrossed} {
		if lost[i] == 0 {
			continue
		}
		s.pass(30, 120)
		r.At, r.Kind, r.Fasteners = s.at, kind, lost[i]
		if d.emit(r); d.stopped {
			return
		}
	}
}

// failure turns a uniform draw into the index of a kind of failure, -1 for an
// attempt that holds.
func failure(rates [3]float64, u float64) int {
	for i, p := range rates {
		if u < p {
			return i
		}
		u -= p
	}
	return -1
}

// tighten emits the first pass and keeps what is due at the end of the day: the
// final pass of a structural or mechanical joint that was run down by impact
// wrench, and of the others one in a hundred that is gone over again.
func (d *drawing) tighten(s *shift, sp *spec, r Row, size int) {
	s.pass(600, 1100)
	r.At, r.Kind, r.Pass, r.Fasteners = s.at, KindTightening, PassFirst, size
	d.emit(r)
	switch {
	case sp.kind != "seam" && s.method == MethodImpact:
		r.Pass = PassFinal
	case s.draw.float() < 0.01:
		r.Pass = PassRetight
	default:
		return
	}
	r.Method = MethodHand
	d.later = append(d.later, r)
}

// emit passes a row on, counts it, and stops the walk at the limit.
func (d *drawing) emit(r Row) {
	if !d.row(r) {
		d.stopped = true
		return
	}
	d.attempts += r.Attempts()
	if r.Kind == KindTightening {
		d.tightenings++
	}
	cfg := d.fleet.cfg
	if cfg.Attempts > 0 && d.attempts >= cfg.Attempts || cfg.Tightenings > 0 && d.tightenings >= cfg.Tightenings {
		d.stopped = true
	}
}
