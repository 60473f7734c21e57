package shift

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"jointledger/internal/ledger"
	"jointledger/internal/quantity"
)

// torque writes a torque in the unit of the site.
func (m *Model) torque(newtonMetres float64) string {
	unit := quantity.NewtonMetre
	if m.us() {
		unit = quantity.PoundForceFoot
	}
	return quantity.Torque(newtonMetres).Format(unit)
}

// asks says what a joint's specification asks for.
func (m *Model) asks(j *Joint) string {
	s := j.Asked
	if s == nil {
		if j.Specification == "" {
			return "no specification"
		}
		return "specification " + j.Specification + ", which this device does not know"
	}
	var parts []string
	add := func(p string) {
		if p != "" {
			parts = append(parts, p)
		}
	}
	add(strings.TrimSpace(s.Fastener.Thread + " " + ledger.Materials.Name(s.Fastener.Material)))
	if s.TorqueNewtonMetres > 0 {
		t := m.torque(s.TorqueNewtonMetres)
		if s.TorqueTolerancePercent > 0 {
			t += " ±" + strconv.FormatFloat(s.TorqueTolerancePercent, 'f', -1, 64) + " %"
		}
		add(t)
	}
	if s.Treatment != 0 {
		add(treatmentWords(s.Treatment))
	}
	if s.Locking != 0 && s.Locking != ledger.LockingNone && ledger.LockingMethods.Name(s.Locking) != ledger.Treatments.Name(s.Treatment) {
		add(ledger.LockingMethods.Name(s.Locking))
	}
	if s.TorqueToolRequired {
		add("torque tool")
	}
	if s.Sealant != "" {
		add("sealant " + s.Sealant)
	}
	return strings.Join(append(parts, s.Code), ", ")
}

// treatmentWords say a thread treatment; "none" alone would not say of what.
func treatmentWords(t ledger.Treatment) string {
	switch t {
	case 0:
		return "no treatment chosen"
	case ledger.TreatmentNone:
		return "dry threads"
	default: // the others go on below
	}
	return ledger.Treatments.Name(t)
}

// otherwise says where what the work is done with is not what the joint asks for,
// before anything is entered. It stands in nobody's way: the rules judge the entry.
func (m *Model) otherwise(j *Joint) []string {
	s := j.Asked
	if s == nil || j.Left == 0 {
		return nil
	}
	var lines []string
	if s.Treatment != 0 && m.with.Treatment != 0 && s.Treatment != m.with.Treatment {
		lines = append(lines, fmt.Sprintf("it asks %s, chosen is %s", treatmentWords(s.Treatment), treatmentWords(m.with.Treatment)))
	}
	if t := m.with.TorqueNewtonMetres; t != nil && s.TorqueNewtonMetres > 0 {
		off := math.Abs(*t-s.TorqueNewtonMetres) / s.TorqueNewtonMetres * 100
		// The slack is that of the rules: none of a rounding error's making.
		if off > s.TorqueTolerancePercent+1e-7 {
			lines = append(lines, fmt.Sprintf("it asks %s, set is %s", m.torque(s.TorqueNewtonMetres), m.with.TorqueAsTyped))
		}
	}
	return lines
}
