package analysis

import "jointledger/internal/ledger"

// StandingCells turns counts into cells: their first value is the unit, the
// others are the stratum. Kinds are the incidents that count as failures; all
// thread failures when empty.
func StandingCells(counts []Count, kinds []ledger.IncidentKind) []StandingCell {
	if len(kinds) == 0 {
		kinds = ledger.ThreadFailures()
	}
	var cells []StandingCell
	for _, c := range counts {
		cell := StandingCell{
			Unit: c.Values[0], Stratum: c.Values[1:], Failures: c.Failures(kinds...), Attempts: c.Attempts(),
			DenominatorUnknown: c.Tightened == 0,
		}
		if cell.Failures > 0 || !cell.DenominatorUnknown {
			cells = append(cells, cell)
		}
	}
	return cells
}

// StandingMix is what units of a kind are made comparable by when nothing else is
// asked for: what the work was done with. A lot is of one material and one
// supplier, and the site stands for what is left.
func StandingMix(unit Grouping) []Grouping {
	switch unit {
	case ByLot, BySupplier:
		return []Grouping{BySite, ByTreatment, ByMaterial}
	case ByTreatment:
		return []Grouping{BySite, ByLot}
	case ByMaterial, ByThread:
		return []Grouping{BySite, ByTreatment}
	default: // the others go on below
	}
	return []Grouping{ByLot, ByTreatment, ByMaterial}
}
