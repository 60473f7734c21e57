package stats

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// asymptoticFrom is where the asymptotic series of the digamma and trigamma
// functions take over; their first terms left out are below 1e-15 there.
const asymptoticFrom = 16

// digammaRise gives ψ(a+y) − ψ(a) for a above 0 and y of at least 0, without the
// cancellation that the difference of the two would suffer for a ≫ y.
func digammaRise(a, y float64) float64 {
	if y == 0 {
		return 0
	}
	if a < asymptoticFrom {
		return mathext.Digamma(a+y) - mathext.Digamma(a)
	}
	return math.Log1p(y/a) + digammaRest(a+y) - digammaRest(a)
}

// digammaRest gives ψ(x) − ln x for x ≥ 16: NIST Digital Library of Mathematical
// Functions 5.11.2.
func digammaRest(x float64) float64 {
	xx := 1 / (x * x)
	return -0.5/x - xx*(1.0/12-xx*(1.0/120-xx*(1.0/252-xx*(1.0/240-xx/132))))
}

// trigamma gives ψ′(x) for x above 0: NIST Digital Library of Mathematical
// Functions 5.15.5 and 5.15.8.
func trigamma(x float64) float64 {
	var sum float64
	for ; x < asymptoticFrom; x++ {
		sum += 1 / (x * x)
	}
	xx := 1 / (x * x)
	return sum + 1/x + xx/2 + xx/x*(1.0/6-xx*(1.0/30-xx*(1.0/42-xx/30)))
}
