package regression

import "math"

// patterns are the rows added up by their terms: the likelihood depends on
// nothing else. Each pattern holds the sum of its rows' events and sizes.
type patterns struct {
	events, size []float64
	// covariates has a slice for each covariate term, in its own unit until
	// standardise.
	covariates [][]float64
	// codes has a slice for each factor term: levels.
	codes [][]int32
	// furthest is the largest absolute value of each covariate, once standardised.
	furthest []float64
	// of has the pattern of each row; nil when each row is one.
	of []int32
}

func (p *patterns) len() int { return len(p.events) }

// row gives the pattern of a row.
func (p *patterns) row(i int) int {
	if p.of == nil {
		return i
	}
	return int(p.of[i])
}

// probe is after how many rows it is decided whether adding up pays, and most
// the share of distinct patterns among them at which it does.
const (
	probe = 4096
	most  = 0.7
)

// gather picks the terms' values of the rows that take part.
func gather(d *Data, r rows) *patterns {
	p := &patterns{events: r.events, size: r.size}
	for k := range d.Terms {
		t := &d.Terms[k]
		if t.Factor() {
			codes := make([]int32, len(r.index))
			for i, at := range r.index {
				codes[i] = int32(t.Codes[at])
			}
			p.codes = append(p.codes, codes)
			continue
		}
		values := make([]float64, len(r.index))
		for i, at := range r.index {
			values[i] = t.Values[at] + 0 // −0 and 0 are one value
		}
		p.covariates = append(p.covariates, values)
	}
	return p.merged()
}

// merged adds up rows with the same terms, unless the first rows show that few
// are alike.
func (p *patterns) merged() *patterns {
	n := p.len()
	slots := 1
	for slots < 2*n {
		slots *= 2
	}
	table := make([]int32, slots) // index of a pattern, plus 1
	of := make([]int32, n)
	first := make([]int32, 0, 1024) // row that stands for a pattern
	for i := range n {
		if i == probe && float64(len(first)) > most*probe {
			return p
		}
		at := p.hash(i) & uint64(slots-1)
		for ; ; at = (at + 1) & uint64(slots-1) {
			if table[at] == 0 {
				first = append(first, int32(i))
				table[at] = int32(len(first))
			} else if !p.same(i, int(first[table[at]-1])) {
				continue
			}
			of[i] = table[at] - 1
			break
		}
	}
	return p.pick(first, of)
}

func (p *patterns) pick(first, of []int32) *patterns {
	m := &patterns{events: make([]float64, len(first)), size: make([]float64, len(first)), of: of}
	for i, g := range of {
		m.events[g] += p.events[i]
		m.size[g] += p.size[i]
	}
	for _, c := range p.covariates {
		picked := make([]float64, len(first))
		for g, i := range first {
			picked[g] = c[i]
		}
		m.covariates = append(m.covariates, picked)
	}
	for _, c := range p.codes {
		picked := make([]int32, len(first))
		for g, i := range first {
			picked[g] = c[i]
		}
		m.codes = append(m.codes, picked)
	}
	return m
}

func (p *patterns) hash(i int) uint64 {
	h := uint64(1469598103934665603)
	for _, c := range p.codes {
		h = mix(h, uint64(c[i]))
	}
	for _, c := range p.covariates {
		h = mix(h, math.Float64bits(c[i]))
	}
	return h
}

// mix is the finaliser of a 64-bit multiplicative hash.
func mix(h, v uint64) uint64 {
	h = (h ^ v) * 0x9E3779B97F4A7C15
	return h ^ h>>32
}

func (p *patterns) same(i, j int) bool {
	for _, c := range p.codes {
		if c[i] != c[j] {
			return false
		}
	}
	for _, c := range p.covariates {
		if c[i] != c[j] {
			return false
		}
	}
	return true
}

// standardise centres each covariate on its mean and divides it by its standard
// deviation over the patterns, and gives both; a constant becomes 0.
func (p *patterns) standardise() (shift, scale []float64) {
	for _, c := range p.covariates {
		mean, deviation := moments(c)
		furthest := 0.0
		for i, v := range c {
			c[i] = 0
			if deviation > 0 {
				c[i] = (v - mean) / deviation
				furthest = max(furthest, math.Abs(c[i]))
			}
		}
		if deviation == 0 {
			deviation = 1
		}
		shift, scale = append(shift, mean), append(scale, deviation)
		p.furthest = append(p.furthest, furthest)
	}
	return shift, scale
}

// moments gives the mean and the standard deviation; 0 for what is a constant
// but for rounding.
func moments(values []float64) (mean, deviation float64) {
	n := float64(len(values))
	for _, v := range values {
		mean += v / n
	}
	sum, off, largest := 0.0, 0.0, math.Abs(mean)
	for _, v := range values {
		sum += (v - mean) * (v - mean)
		off += v - mean
		largest = max(largest, math.Abs(v))
	}
	mean += off / n
	if deviation = math.Sqrt(sum / n); deviation <= 1e-13*largest {
		return mean, 0
	}
	return mean, deviation
}
