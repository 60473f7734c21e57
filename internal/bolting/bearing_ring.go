package bolting

import (
	"fmt"
	"strings"

	"jointledger/internal/metrology"
)

// DefaultRing is the bearing ring of a plain hexagon head or nut over a medium
// clearance hole.
type DefaultRing struct {
	Ring   BearingRing
	Source metrology.Source
}

// NoRingError reports a thread without a default bearing ring.
type NoRingError struct {
	Thread    string
	Available []string
}

// Error lists the sizes there are.
func (e *NoRingError) Error() string {
	return fmt.Sprintf("no default bearing ring for %s: give the outer diameter and the hole; there are defaults for %s",
		e.Thread, strings.Join(e.Available, ", "))
}

// ringSource: the diameters are from memory, but with them a reprinted table of
// VDI 2230 comes out within 0.5 %.
var ringSource = metrology.Source{Title: "ISO 4014 washer face, ISO 273 medium hole", Mark: metrology.Memory}

var rings = []struct {
	nominal Millimetres
	ring    BearingRing
}{
	{8, BearingRing{Outer: 11.63, Hole: 9}},
	{10, BearingRing{Outer: 14.63, Hole: 11}},
	{12, BearingRing{Outer: 16.63, Hole: 13.5}},
	{14, BearingRing{Outer: 19.64, Hole: 15.5}},
	{16, BearingRing{Outer: 22.49, Hole: 17.5}},
	{20, BearingRing{Outer: 28.19, Hole: 22}},
	{24, BearingRing{Outer: 33.61, Hole: 26}},
}

// RingFor gives the default bearing ring of a metric thread. It fails with a
// *NoRingError.
func RingFor(t Thread) (DefaultRing, error) {
	available := make([]string, 0, len(rings))
	for _, r := range rings {
		if t.System() == Metric && r.nominal == t.Nominal {
			return DefaultRing{Ring: r.ring, Source: ringSource}, nil
		}
		available = append(available, "M"+number(float64(r.nominal)))
	}
	return DefaultRing{}, &NoRingError{Thread: t.Designation, Available: available}
}

// MediumHole is the medium clearance hole of ISO 273 for a metric thread (from
// memory); false when the table has none.
func MediumHole(t Thread) (Millimetres, bool) {
	if t.System() != Metric {
		return 0, false
	}
	hole, ok := mediumHoles[t.Nominal]
	return hole, ok
}

var mediumHoles = map[Millimetres]Millimetres{
	5: 5.5, 6: 6.6, 8: 9, 10: 11, 12: 13.5, 14: 15.5, 16: 17.5, 18: 20, 20: 22,
	22: 24, 24: 26, 27: 30, 30: 33, 33: 36, 36: 39,
}
