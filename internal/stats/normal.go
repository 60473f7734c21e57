package stats

import "gonum.org/v1/gonum/mathext"

// normalUpperQuantile gives the z that a standard normal variable exceeds with
// the given probability, for a probability strictly between 0 and 1. Working
// from the tail keeps full precision down to 1e-300, where 1−tail would be 1.
func normalUpperQuantile(tail float64) float64 {
	return -mathext.NormalQuantile(tail)
}
