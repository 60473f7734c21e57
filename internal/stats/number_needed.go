package stats

// NumberNeeded says in how many attempts the choice of A instead of B changes
// the outcome of one: the inverse of the difference of the probabilities of
// failure, with its interval. D. G. Altman, "Confidence intervals for the
// number needed to treat", BMJ 317 (1998) 1309-1312.
//
// Where the interval of the difference has 0 inside, that of its inverse falls
// in two parts that meet at infinity: from some number needed for one failure
// fewer, through no effect at all, to some number needed for one failure more.
// It is then never a plain pair of limits, and both Fewer and More are set.
type NumberNeeded struct {
	// Estimate is the number for one failure fewer with A, or, when A failed
	// more often, for one failure more; nil when the rates are equal.
	Estimate *float64
	// EstimateFewer says which of the two it is.
	EstimateFewer bool
	// Fewer and More are the numbers that the interval of the difference leaves
	// possible on each side; nil for a side it excludes.
	Fewer, More *NumberNeededRange
}

// NumberNeededRange is a range of numbers needed. Most is nil where it goes on
// without end.
type NumberNeededRange struct {
	Least float64
	Most  *float64
}

// NumberNeededFrom turns a difference of probabilities of failure, A less B,
// and its interval into the number needed. An [*ArgumentError] is returned for
// an interval outside [−1, 1] or one that does not contain the difference.
func NumberNeededFrom(difference float64, interval Interval) (NumberNeeded, error) {
	if !(interval.Lower >= -1 && interval.Lower <= difference) {
		return NumberNeeded{}, badNumber("the lower limit of the difference", interval.Lower, "must lie between -1 and the difference")
	}
	if !(interval.Upper <= 1 && interval.Upper >= difference) {
		return NumberNeeded{}, badNumber("the upper limit of the difference", interval.Upper, "must lie between the difference and 1")
	}
	n := NumberNeeded{EstimateFewer: difference < 0, Estimate: ratioOf(1, difference)}
	if n.EstimateFewer {
		n.Estimate = ratioOf(-1, difference)
	}
	n.Fewer = numbersNeeded(-interval.Upper, -interval.Lower)
	n.More = numbersNeeded(interval.Lower, interval.Upper)
	return n, nil
}

// numbersNeeded inverts the part above 0 of a range of differences.
func numbersNeeded(low, high float64) *NumberNeededRange {
	if high <= 0 {
		return nil
	}
	return &NumberNeededRange{Least: 1 / high, Most: ratioOf(1, max(low, 0))}
}
