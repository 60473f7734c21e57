package stats

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
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
	// The ranks of each group stand together, draw after draw: a table of groups by
	// ranks would be too large to stay near the processor.
	drawn := make([]int32, m*draws)
	random := rand.New(rand.NewPCG(seed, 0))
	order, rates := make([]rankedDraw, m), make([]float64, m)
	for i, p := range posteriors {
		rates[i] = math.Log(p.Rate)
	}
	for d := range draws {
		for i, p := range posteriors {
			order[i] = rankedDraw{logGammaDraw(random, p.Shape) - rates[i], int32(i)}
		}
		slices.SortFunc(order, func(a, b rankedDraw) int { return cmp.Compare(b.value, a.value) })
		for rank, o := range order {
			drawn[int(o.group)*draws+d] = int32(rank)
		}
	}
	ranks, seen := make([]RankInterval, m), make([]int32, m) // how often the group had each rank
	for i := range ranks {
		clear(seen)
		for _, rank := range drawn[i*draws : (i+1)*draws] {
			seen[rank]++
		}
		ranks[i] = rankInterval(seen, float64(draws), confidence)
	}
	return ranks, nil
}

// rankedDraw is what was drawn for a group.
type rankedDraw struct {
	value float64
	group int32
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
