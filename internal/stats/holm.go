package stats

// Holm gives the p-values adjusted for the family-wise error rate, in the order
// of p: rejecting those at or below α keeps the probability of any false
// rejection at or below α, whatever the dependence. The i-th smallest of m
// becomes the greatest of p_j·(m−j+1) over j ≤ i, at most 1. p itself is left
// as it is.
//
// S. Holm, "A simple sequentially rejective multiple test procedure", Scand. J.
// Statist. 6 (1979) 65-70.
//
// A p-value that is NaN or outside [0, 1] is refused with an [*ArgumentError].
func Holm(p []float64) ([]float64, error) {
	if err := checkPValues(p); err != nil {
		return nil, err
	}
	adjusted := make([]float64, len(p))
	greatest := 0.0
	for i, at := range ascending(p) {
		greatest = max(greatest, min(1, p[at]*float64(len(p)-i)))
		adjusted[at] = greatest
	}
	return adjusted, nil
}
