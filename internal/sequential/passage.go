package sequential

// passage is what becomes of the sum between its entry into a stretch of levels
// and its leaving it: back by the low end, or to a signal. All three numbers are
// built from sums and products of positive ones, so no digit is lost even where
// a signal is a matter of a billion looks.
type passage struct {
	back   float64 // probability of leaving by the low end
	signal float64 // probability of a signal first: 1 − back, without cancellation
	looks  float64 // expected looks until either
}

// then is the passage through one stretch and, if it came out at the low end,
// through the next lower one.
func (a passage) then(b passage) passage {
	return passage{
		back:   a.back * b.back,
		signal: a.signal + a.back*b.signal,
		looks:  a.looks + a.back*b.looks,
	}
}

// window folds the last so many passages in constant time each. It is a queue of
// two stacks, since passages can be put together but not taken apart.
type window struct {
	size  int
	older []passage // older[i] is the fold of those from i to the end of the older half
	newer []passage
	fold  passage // of newer
}

var nowhere = passage{back: 1}

func newWindow(size int) *window { return &window{size: size, fold: nowhere} }

func (w *window) push(p passage) {
	w.newer = append(w.newer, p)
	w.fold = w.fold.then(p)
	if len(w.older)+len(w.newer) <= w.size {
		return
	}
	if len(w.older) == 0 {
		// The oldest comes first in a passage downwards, and leaves first.
		fold := nowhere
		for i := len(w.newer) - 1; i >= 0; i-- {
			fold = w.newer[i].then(fold)
			w.older = append(w.older, fold)
		}
		w.newer, w.fold = w.newer[:0], nowhere
	}
	w.older = w.older[:len(w.older)-1]
}

func (w *window) all() passage {
	if len(w.older) == 0 {
		return w.fold
	}
	return w.older[len(w.older)-1].then(w.fold)
}

// stepDown is the average run length of a CUSUM that falls by at most a point at a
// look, from start points: weights[x] is the probability of x failures in a look,
// which change the sum by x·gain − 1. It solves the Markov chain of Brook and Evans
// (1972), as Reynolds and Stoumbos (1999) set it up for attempts, in one sweep from
// the threshold down: since no level can be jumped over on the way down, the sum
// either signals from a level or comes to the one below.
func stepDown(weights []float64, gain, threshold, start int64) float64 {
	windows := make([]*window, len(weights))
	for x := 1; x < len(weights) && int64(x)*gain-1 < threshold; x++ {
		windows[x] = newWindow(int(int64(x)*gain - 1))
	}
	over := tails(weights)
	above := nowhere // from start to the level on which the sweep stands
	for level := threshold - 1; ; level-- {
		var through passage // all that follows a failure, not yet divided by its probability
		for x := 1; x < len(weights); x++ {
			if level+int64(x)*gain-1 >= threshold {
				through.signal += over[x]
				break
			}
			after := windows[x].all()
			through.signal += weights[x] * after.signal
			through.looks += weights[x] * after.looks
		}
		if level == 0 {
			// A look without failure leaves the sum at 0.
			fromZero := (1 + through.looks) / through.signal
			return above.looks + above.back*fromZero
		}
		leaves := weights[0] + through.signal
		p := passage{back: weights[0] / leaves, signal: through.signal / leaves, looks: (1 + through.looks) / leaves}
		for _, w := range windows {
			if w != nil {
				w.push(p)
			}
		}
		if level <= start {
			above = above.then(p)
		}
	}
}
