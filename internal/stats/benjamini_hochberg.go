package stats

// BenjaminiHochberg gives the p-values adjusted for the false discovery rate,
// in the order of p: rejecting those at or below q keeps the expected share of
// false rejections at or below q, for independent or positively dependent
// tests. The i-th smallest of m becomes the least of p_j·m/j over j ≥ i, at
// most 1. p itself is left as it is.
//
// Y. Benjamini, Y. Hochberg, "Controlling the false discovery rate", J. Roy.
// Statist. Soc. B 57 (1995) 289-300.
//
// A p-value that is NaN or outside [0, 1] is refused with an [*ArgumentError].
func BenjaminiHochberg(p []float64) ([]float64, error) {
	if err := checkPValues(p); err != nil {
		return nil, err
	}
	adjusted := make([]float64, len(p))
	order := ascending(p)
	least := 1.0
	for rank := len(order); rank >= 1; rank-- {
		at := order[rank-1]
		least = min(least, float64(len(p))/float64(rank)*p[at])
		adjusted[at] = least
	}
	return adjusted, nil
}
