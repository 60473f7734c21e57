package fleetgen

import (
	"iter"
	"math/rand/v2"
	"strconv"
	"time"
)

// Row is one tightening or one incident.
type Row struct {
	Site, Tower, Cell, Joint string
	Lot                      string
	Tool, Person             string
	At                       time.Time // in the site's zone, whole seconds
	Kind                     string    // KindTightening or a kind of thread failure
	Treatment, Method        string
	Pass                     string // of a tightening; empty for an incident
	Fasteners                int
}

// Attempts returns how many fastener attempts the row stands for: all of its
// fasteners for a first pass and for a failure, none for a later pass.
func (r Row) Attempts() int {
	if r.Kind == KindTightening && r.Pass != PassFirst {
		return 0
	}
	return r.Fasteners
}

// Joint is one joint of the fleet, as it must exist before its rows.
type Joint struct {
	Site, Tower, Cell, Joint string
	Kind                     string // structural, seam or mechanical
	Material, Thread         string // of its fasteners
	Fasteners                int
}

// Lot is one lot of fasteners, as it must exist before its rows.
type Lot struct {
	Lot, Material, Thread string
	Bad                   bool
}

// Rows returns the stream: day by day, in each day site by site, in each site
// crew by crew, in order of time within a crew's day. The failures of a joint
// come before the first pass that ends it; final passes and re-tightenings come
// at the end of the day.
func (f *Fleet) Rows() iter.Seq[Row] {
	return func(yield func(Row) bool) {
		d := &drawing{fleet: f, row: yield}
		d.run()
	}
}

// Joints returns, in order of first work, every joint that the rows touch, with
// the number of fasteners that its first pass records.
func (f *Fleet) Joints() iter.Seq[Joint] {
	return func(yield func(Joint) bool) {
		d := &drawing{fleet: f, row: func(Row) bool { return true }, joint: yield}
		d.run()
	}
}

// Draw walks through the fleet once and gives each joint just before its first row, so
// that nothing need be kept of those that are done with. It ends when either returns
// false.
func (f *Fleet) Draw(joint func(Joint) bool, row func(Row) bool) {
	d := &drawing{fleet: f, row: row, joint: joint}
	d.run()
}

// Lots returns every lot that the rows use, in order of first use; with Deliveries,
// every lot that they may use.
func (f *Fleet) Lots() iter.Seq[Lot] {
	return func(yield func(Lot) bool) {
		pools := (len(f.sites) + SitesPerPool - 1) / SitesPerPool
		if f.cfg.Deliveries > 0 {
			f.openLots(pools, yield)
			return
		}
		known := make([]int, pools*len(specs)) // latest delivery seen, plus one
		d := &drawing{fleet: f, row: func(Row) bool { return true }}
		d.lot = func(pool int, spec *spec, delivery int) bool {
			slot := &known[pool*len(specs)+spec.index]
			if *slot == delivery+1 {
				return true
			}
			*slot = delivery + 1
			return yield(Lot{Lot: lotName(pool, spec, delivery), Material: spec.material, Thread: spec.thread,
				Bad: f.bad(pool, spec, delivery)})
		}
		d.run()
	}
}

// openLots gives the lots of a fleet that has all of them from the first day.
func (f *Fleet) openLots(pools int, yield func(Lot) bool) {
	for pool := range pools {
		for i := range specs {
			for n := range f.cfg.Deliveries {
				s := &specs[i]
				if !yield(Lot{Lot: lotName(pool, s, n), Material: s.material, Thread: s.thread, Bad: f.bad(pool, s, n)}) {
					return
				}
			}
		}
	}
}

// spec is one kind of joint.
type spec struct {
	index                  int
	kind, material, thread string
	code                   string // in lot names
	large                  bool   // needs the crew's large wrench
	treatment              string
}

var specs = [...]spec{
	{0, "structural", MaterialStainless, "M10", "A", false, TreatmentAntiSeize},
	{1, "seam", MaterialStainless, "M8", "B", false, TreatmentAntiSeize},
	{2, "structural", MaterialGalvanised, "M12", "C", true, TreatmentLocking},
	{3, "seam", MaterialGalvanised, "M8", "D", false, TreatmentNone},
	{4, "mechanical", MaterialGalvanised, "M16", "E", true, TreatmentLocking},
}

// specOf is the specification of the nth joint of a cell: first the structure,
// then the casing, then the machinery, as it is built.
func specOf(stainless bool, n int) *spec {
	switch {
	case n >= 41:
		return &specs[4]
	case n >= 21 && stainless:
		return &specs[1]
	case n >= 21:
		return &specs[3]
	case stainless:
		return &specs[0]
	default:
		return &specs[2]
	}
}

// lotName spells a lot: the pool of sites it was delivered to, the
// specification, the number of the delivery.
func lotName(pool int, s *spec, delivery int) string {
	b := make([]byte, 0, 16)
	b = append(b, 'L')
	b = strconv.AppendInt(b, int64(pool+1), 10)
	b = append(b, s.code...)
	b = strconv.AppendInt(b, int64(delivery+1), 10)
	return string(b)
}

// delivery is the number of the delivery in use at a pool of sites on a day.
// Deliveries of different pools and specifications change over on different
// days.
func delivery(pool int, s *spec, day int) int { return (day + 4*pool + 3*s.index) / daysPerLot }

// load is the number of the delivery that the nth joint of a crew takes from.
func (f *Fleet) load(pool int, s *spec, day, crew, n int) int {
	if f.cfg.Deliveries == 0 {
		return delivery(pool, s, day)
	}
	return (n + crew) % f.cfg.Deliveries
}

// bad reports whether a lot is one of the bad ones. Only stainless lots are.
func (f *Fleet) bad(pool int, s *spec, delivery int) bool {
	if s.material != MaterialStainless {
		return false
	}
	u := f.draws(0xbad, uint64(pool), uint64(s.index), uint64(delivery))
	return u.float() < BadLotShare
}

// draws is one seeded sequence of pseudo-random draws.
type draws struct{ src rand.PCG }

// draws starts the sequence that belongs to some numbers.
func (f *Fleet) draws(purpose uint64, keys ...uint64) draws {
	var d draws
	h := mix(purpose)
	for _, k := range keys {
		h = mix(h ^ k)
	}
	d.src.Seed(f.cfg.Seed, h)
	return d
}

// mix is the finaliser of SplitMix64 (Steele, Lea and Flood 2014).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// float returns a uniform draw from [0, 1).
func (d *draws) float() float64 { return float64(d.src.Uint64()>>11) / (1 << 53) }

// intn returns a uniform whole number from 0 to n-1.
func (d *draws) intn(n int) int { return int(float64(n) * d.float()) }
