package stats

import "math"

// studentUpperQuantile gives the t that a Student variable exceeds with the
// given probability below one half: ν/(ν+t²) is Beta(ν/2, 1/2) (NIST Digital
// Library of Mathematical Functions 8.17; M. Abramowitz, I. Stegun 26.7.1).
func studentUpperQuantile(tail, degreesOfFreedom float64) float64 {
	x, y := betaQuantile(degreesOfFreedom/2, 0.5, 2*tail)
	return math.Sqrt(degreesOfFreedom * y / x)
}
