package bolting

import (
	"math"

	"jointledger/internal/metrology"
)

// Series is the thread series: it decides the convention of the stress area.
type Series string

// The series.
const (
	MetricCoarse Series = "metric coarse"
	MetricFine   Series = "metric fine"
	UNC          Series = "UNC"
)

// System is the system of units a thread or a strength class belongs to.
type System string

// The systems.
const (
	Metric System = "metric"
	Inch   System = "inch"
)

// Thread is a 60° screw thread of the tables. Get one from ParseThread or
// Threads; the zero value is no thread.
type Thread struct {
	Designation string // canonical: "M12", "M12x1.25", "1/2-13 UNC"
	Series      Series
	Nominal     Millimetres // nominal (major) diameter d
	Pitch       Millimetres // P
	AreaSource  metrology.Source

	// tabulated is the stress area as its standard prints it, rounded.
	tabulated SquareMillimetres
}

// System tells whether the thread is metric or inch.
func (t Thread) System() System {
	if t.Series == UNC {
		return Inch
	}
	return Metric
}

// Offsets from the nominal diameter in pitches. H = (√3/2)·P is the height of
// the sharp profile, the same 60° form in both systems (ISO 68-1, ISO 724 and
// ASME B1.1, from memory).
const (
	pitchDiameterOffset = 0.649519 // d2 = d − 0.75·H
	minorDiameterOffset = 1.082532 // d1 = d − 1.25·H

	// The two conventions for the bottom of the external thread and hence for
	// the stress diameter: ISO 898-1 goes H/6 below d1, ASME B1.1 writes
	// 0.9743/n, which stands for a root at D − 1.2990/n (derived).
	metricRootOffset   = 1.226869 // d3 = d1 − H/6
	metricStressOffset = 0.938194 // (d2 + d3)/2
	inchRootOffset     = 1.299081 // 2 × 0.9743 − 0.649519
	inchStressOffset   = 0.9743

	inchAreaFactor = 0.7854 // as ASME B1.1 prints π/4
)

// PitchDiameter is d2.
func (t Thread) PitchDiameter() Millimetres { return t.Nominal - pitchDiameterOffset*t.Pitch }

// MinorDiameter is the basic minor diameter d1, that of the internal thread.
func (t Thread) MinorDiameter() Millimetres { return t.Nominal - minorDiameterOffset*t.Pitch }

// RootDiameter is d3, the bottom of the external thread: ISO 724's for metric
// threads; for inch threads the one that the stress area of ASME B1.1 implies.
func (t Thread) RootDiameter() Millimetres {
	if t.System() == Inch {
		return t.Nominal - inchRootOffset*t.Pitch
	}
	return t.Nominal - metricRootOffset*t.Pitch
}

// StressDiameter is the diameter of the computed stress area, the mean of pitch
// and root diameter.
func (t Thread) StressDiameter() Millimetres {
	if t.System() == Inch {
		return t.Nominal - inchStressOffset*t.Pitch
	}
	return t.Nominal - metricStressOffset*t.Pitch
}

// StressArea is the computed stress area: ISO 898-1's π/4·(d − 0.938194·P)² for
// metric threads, ASME B1.1's 0.7854·(D − 0.9743/n)² for inch threads (from
// memory; the areas were seen). The metric constant on an inch thread would give
// 1 to 2 % too much.
func (t Thread) StressArea() SquareMillimetres {
	ds := float64(t.StressDiameter())
	if t.System() == Inch {
		return SquareMillimetres(inchAreaFactor * ds * ds)
	}
	return SquareMillimetres(math.Pi / 4 * ds * ds)
}

// NominalStressArea is the stress area as the standard's table prints it. Proof
// loads and strengths are computed with it, as the standards do.
func (t Thread) NominalStressArea() SquareMillimetres { return t.tabulated }
