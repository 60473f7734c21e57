package stats

import (
	"math"
	"math/rand/v2"
	"sort"
)

// RankInterval is how surely a group's place in an order is known; 1 is the
// place of the highest rate.
type RankInterval struct {
	// Mean is the expected rank.
	Mean float64
	// Lower and Upper are the central interval's ends.
	Lower, Upper int
}

// PosteriorRanks draws rates from the posteriors, orders them, and gives each
// group's mean rank and central interval over the draws: H. Goldstein, D. J.
// Spiegelhalter, J. Roy. Statist. Soc. A 159 (1996) 385-443. The same seed gives
// the same answer on every machine.
//
// An [*ArgumentError] is returned for draws outside 1 to 1,000,000, a confidence
// not strictly between 0 and 1, or a posterior with parameters that are not
// finite and above 0.
func PosteriorRanks(posteriors []GammaPosterior, draws int, seed uint64, confidence float64) ([]RankInterval, error) {
	if draws < 1 || draws > 1_000_000 {
		return nil, badCount("draws", int64(draws), "must be at least 1 and at most 1000000")
	}
	if err := checkConfidence(confidence); err != nil {
		return nil, err
	}
	for _, p := range posteriors {
		for _, v := range []float64{p.Shape, p.Rate} {
			if !(v > 0) || math.IsInf(v, 1) {
				return nil, badNumber("posterior parameter", v, "must be a finite number above 0")
			}
		}
	}
	m := len(posteriors)
	seen := make([][]int32, m) // how often each group had each rank
	for i := range seen {
		seen[i] = make([]int32, m)
	}
	random := rand.New(rand.NewPCG(seed, 0))
	values, order := make([]float64, m), make([]int, m)
	for range draws {
		for i, p := range posteriors {
			values[i] = logGammaDraw(random, p.Shape) - math.Log(p.Rate)
			order[i] = i
		}
		sort.Slice(order, func(i, j int) bool { return values[order[i]] > values[order[j]] })
		for rank, i := range order {
			seen[i][rank]++
		}
	}
	ranks := make([]RankInterval, m)
	for i := range ranks {
		ranks[i] = rankInterval(seen[i], float64(draws), confidence)
	}
	return ranks, nil
}

func rankInterval(seen []int32, draws, confidence float64) RankInterval {
	tail := (1 - confidence) / 2 * draws
	r := RankInterval{}
	var before, sum float64
	for k, times := range seen {
		at := before + float64(times)
		sum += float64(k+1) * float64(times)
		if r.Lower == 0 && at > tail {
			r.Lower = k + 1
		}
		if at > 0 && times > 0 && draws-before > tail {
			r.Upper = k + 1
		}
		before = at
	}
	r.Mean = sum / draws
	return r
}

// logGammaDraw draws the logarithm of a gamma variable of the shape and scale 1,
// by the method of G. Marsaglia, W. W. Tsang, ACM Trans. Math. Softw. 26 (2000)
// 363-372. The logarithm keeps apart what would underflow for small shapes.
func logGammaDraw(random *rand.Rand, shape float64) float64 {
	var boost float64
	if shape < 1 {
		boost = math.Log(1-random.Float64()) / shape
		shape++
	}
	d := shape - 1.0/3
	c := 1 / math.Sqrt(9*d)
	for {
		x := random.NormFloat64()
		v := 1 + c*x
		if v <= 0 {
			continue
		}
		v = v * v * v
		if math.Log(1-random.Float64()) < 0.5*x*x+d-d*v+d*math.Log(v) {
			return math.Log(d*v) + boost
		}
	}
}
