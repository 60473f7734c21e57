package regression

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// residualOutside gives what is left of target after the nearest point of the
// cone of the vectors, each of length 1 and as long as target: the residual of
// non-negative least squares by the active-set method of C. L. Lawson, R. J.
// Hanson, "Solving Least Squares Problems" (1974), chapter 23. ok is false if it
// did not end in the steps allowed.
func residualOutside(vectors [][]float64, target []float64) (residual []float64, ok bool) {
	n := len(target)
	var passive []int
	inside := make([]bool, len(vectors))
	var weights []float64
	residual = append([]float64(nil), target...)
	for range 20*n + 200 {
		best, at := 1e-12, -1
		for i, v := range vectors {
			if !inside[i] {
				if w := blas.Ddot(n, v, 1, residual, 1); w > best {
					best, at = w, i
				}
			}
		}
		if at < 0 || blas.Dnrm2(n, residual, 1) <= 1e-12 || len(passive) == n {
			return residual, true
		}
		passive, weights = append(passive, at), append(weights, 0)
		inside[at] = true
		for len(passive) > 0 {
			solution, sound := leastSquares(vectors, passive, target)
			if !sound { // the newcomer depends on the others: rounding chose it
				inside[at] = false
				passive, weights = passive[:len(passive)-1], weights[:len(weights)-1]
				return rest(vectors, passive, weights, target), true
			}
			if step := towards(weights, solution); step < 1 {
				passive, weights = retire(passive, weights, solution, step, inside)
				continue
			}
			weights = solution
			break
		}
		residual = rest(vectors, passive, weights, target)
	}
	return residual, false
}

// leastSquares fits the target by the passive vectors.
func leastSquares(vectors [][]float64, passive []int, target []float64) ([]float64, bool) {
	x := mat.NewDense(len(target), len(passive), nil)
	for k, i := range passive {
		x.SetCol(k, vectors[i])
	}
	var qr mat.QR
	qr.Factorize(x)
	solution := mat.NewVecDense(len(passive), nil)
	if qr.Cond() > 1e12 || qr.SolveVecTo(solution, false, mat.NewVecDense(len(target), target)) != nil {
		return nil, false
	}
	return solution.RawVector().Data, true
}

// towards is how far one can go from weights to solution until one is 0.
func towards(weights, solution []float64) float64 {
	step := 1.0
	for k, s := range solution {
		if s <= 0 {
			step = math.Min(step, weights[k]/(weights[k]-s+1e-300))
		}
	}
	return step
}

// retire goes as far as step and drops what has come to 0.
func retire(passive []int, weights, solution []float64, step float64, inside []bool) ([]int, []float64) {
	var keep []int
	var left []float64
	for k, i := range passive {
		w := weights[k] + step*(solution[k]-weights[k])
		if solution[k] <= 0 && w <= 1e-15 {
			inside[i] = false
			continue
		}
		keep, left = append(keep, i), append(left, w)
	}
	return keep, left
}

func rest(vectors [][]float64, passive []int, weights, target []float64) []float64 {
	r := append([]float64(nil), target...)
	for k, i := range passive {
		blas.Daxpy(len(r), -weights[k], vectors[i], 1, r, 1)
	}
	return r
}
