package sequential

// levels is the Markov chain of Brook and Evans (1972) over the levels below the
// threshold, kept in a band: from level i the sum comes to i − down at the lowest
// and i + up at the highest.
type levels struct {
	down, up int
	// move[i·width + j − i + down] is the chance of coming from i to j.
	move []float64
	// signal is the chance of a signal at the next look, looks the expected looks
	// until a level below or a signal.
	signal, looks []float64
}

func (l *levels) width() int { return l.down + l.up + 1 }

// eliminationCost is the multiplications that eliminate takes.
func eliminationCost(threshold, gain, drift int64, weights []float64) float64 {
	down, up := bandOf(threshold, gain, drift, weights)
	return float64(threshold) * float64(down+1) * float64(up+1)
}

func bandOf(threshold, gain, drift int64, weights []float64) (down, up int) {
	return int(min(threshold-1, drift)), int(max(0, min(threshold-1, int64(len(weights)-1)*gain-drift)))
}

func newLevels(threshold, gain, drift int64, weights, over []float64) *levels {
	down, up := bandOf(threshold, gain, drift, weights)
	n := int(threshold)
	l := &levels{down: down, up: up, signal: make([]float64, n), looks: make([]float64, n)}
	l.move = make([]float64, n*l.width())
	for i := range n {
		l.looks[i] = 1
		to := int64(i) - drift
		for x, weight := range weights {
			if to >= threshold {
				l.signal[i] = over[x]
				break
			}
			l.move[i*l.width()+int(max(to, 0))-i+down] += weight
			to += gain
		}
	}
	return l
}

// run gives the expected looks to a signal from a level. States are eliminated from
// the threshold down after W. K. Grassmann, M. I. Taksar, D. P. Heyman,
// "Regenerative analysis and steady state distributions for Markov chains", Oper.
// Res. 33 (1985) 1107-1116: nothing is subtracted, so no digit is lost. The band
// stays a band, since what comes to a level goes on to one just below it.
func (l *levels) run(start int) float64 {
	n, width := len(l.signal), l.width()
	leaves := make([]float64, n)
	for last := n - 1; last > 0; last-- {
		lowest := max(0, last-l.down)
		from := l.move[last*width+lowest-last+l.down : last*width+l.down]
		leaves[last] = l.signal[last]
		for _, v := range from {
			leaves[last] += v
		}
		for i := max(0, last-l.up); i < last; i++ {
			into := l.move[i*width+last-i+l.down]
			if into == 0 {
				continue
			}
			share := into / leaves[last]
			to := l.move[i*width+lowest-i+l.down:]
			for j, v := range from {
				to[j] += share * v
			}
			l.signal[i] += share * l.signal[last]
			l.looks[i] += share * l.looks[last]
		}
	}
	expected := make([]float64, start+1)
	expected[0] = l.looks[0] / l.signal[0]
	for i := 1; i <= start; i++ {
		sum := l.looks[i]
		for j := max(0, i-l.down); j < i; j++ {
			sum += l.move[i*width+j-i+l.down] * expected[j]
		}
		expected[i] = sum / leaves[i]
	}
	return expected[start]
}
