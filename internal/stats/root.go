package stats

import "math"

// bracketedRoot finds x in [low, high] with f(x) = 0, to the precision of
// float64, for a continuous f that is at most 0 at low and at least 0 at high.
// Where rounding has spoilt a sign at an end, that end is the root.
//
// It is the method of C. Ridders, "A new algorithm for computing a single root
// of a real continuous function", IEEE Trans. Circuits Syst. 26 (1979) 979-980.
// Each step at least halves the bracket, so it ends for any f.
func bracketedRoot(f func(float64) float64, low, high float64) float64 {
	fLow, fHigh := f(low), f(high)
	if fLow >= 0 {
		return low
	}
	if fHigh <= 0 {
		return high
	}
	root := math.NaN()
	for {
		middle := low + (high-low)/2
		if middle <= low || middle >= high {
			return middle
		}
		fMiddle := f(middle)
		if fMiddle == 0 {
			return middle
		}
		// The chord after the exponential factor that makes the three values
		// lie on a line; it stays inside the bracket.
		next := middle - (middle-low)*fMiddle/math.Sqrt(fMiddle*fMiddle-fLow*fHigh)
		next = within(next, low, high)
		fNext := f(next)
		if fNext == 0 || math.Abs(next-root) <= 2.3e-16*math.Abs(next) {
			return next
		}
		root = next
		left, fLeft, right, fRight := middle, fMiddle, next, fNext
		if left > right {
			left, fLeft, right, fRight = next, fNext, middle, fMiddle
		}
		switch {
		case fLeft > 0:
			high, fHigh = left, fLeft
		case fRight < 0:
			low, fLow = right, fRight
		default:
			low, fLow, high, fHigh = left, fLeft, right, fRight
		}
	}
}
