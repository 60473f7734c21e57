package bolting

import (
	"fmt"
	"strings"
	"sync"

	"jointledger/internal/metrology"
)

// Pretension is the minimum pretension that a structural code asks for, 0.70
// times the minimum tensile load, as its table prints it.
type Pretension struct {
	Grade   string
	Thread  string // canonical designation
	Minimum Newtons
	Source  metrology.Source
}

// NoPretensionError reports a grade and size without a tabulated pretension.
type NoPretensionError struct {
	Grade     string
	Thread    string
	Available []string // "grade thread" pairs of the table
}

// Error lists what exists.
func (e *NoPretensionError) Error() string {
	return fmt.Sprintf("no minimum pretension for %s %s; there are %s", e.Grade, e.Thread, strings.Join(e.Available, ", "))
}

// MinimumPretension looks up the pretension of a structural bolt by grade
// ("A325", "F3125 A325", "A490", "A325M", "A490M") and thread. Structural bolts
// may not be installed from a torque table: the code asks for a method proved on
// the real assemblies each day. It fails with a *NoPretensionError that lists
// what exists.
func MinimumPretension(grade string, t Thread) (Pretension, error) {
	var available []string
	for _, p := range pretensions() {
		if foldClass(p.Grade) == foldClass(grade) && p.Thread == t.Designation {
			return p, nil
		}
		available = append(available, p.Grade+" "+p.Thread)
	}
	return Pretension{}, &NoPretensionError{Grade: grade, Thread: t.Designation, Available: available}
}

// Pretensions returns every row of the table.
func Pretensions() []Pretension { return append([]Pretension(nil), pretensions()...) }

var pretensions = sync.OnceValue(buildPretensions)

func buildPretensions() []Pretension {
	table := metrology.Source{Title: "AISC 360", Edition: "2005", Place: "table J3.1; RCSC table 8.1", Mark: metrology.Seen}
	raised := metrology.Source{Title: "RCSC", Edition: "after ASTM F3125:2015", Place: "table 8.1", Mark: metrology.Memory}
	inch := []string{"1/2-13 UNC", "5/8-11 UNC", "3/4-10 UNC", "7/8-9 UNC", "1-8 UNC", "1-1/8-7 UNC", "1-1/4-7 UNC"}
	metric := []string{"M16", "M20", "M22", "M24", "M27", "M30", "M36"}
	kip := PoundsForce(1000)
	const kilonewton = Newtons(1000)
	var list []Pretension
	for _, g := range []struct {
		grade   string
		threads []string
		unit    Newtons
		values  []float64
		source  metrology.Source
	}{
		{"A325", inch, kip, []float64{12, 19, 28, 39, 51, 56, 71}, table},
		{"F3125 A325", inch, kip, []float64{12, 19, 28, 39, 51, 64, 81}, raised},
		{"A490", inch, kip, []float64{15, 24, 35, 49, 64, 80, 102}, table},
		{"A325M", metric, kilonewton, []float64{91, 142, 176, 205, 267, 326, 475}, table},
		{"A490M", metric, kilonewton, []float64{114, 179, 221, 257, 334, 408, 595}, table},
	} {
		for i, v := range g.values {
			list = append(list, Pretension{Grade: g.grade, Thread: g.threads[i], Minimum: Newtons(v) * g.unit, Source: g.source})
		}
	}
	return list
}
