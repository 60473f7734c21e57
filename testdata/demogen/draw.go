package main

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// stream is one named sequence of pseudo-random draws. Draws are spelt out here
// on top of the generator's 64-bit words, so that no change of a library's
// sampling method can change the committed files.
type stream struct{ src *rand.PCG }

// newStream starts the sequence that belongs to a seed and a label. Streams of
// different labels are independent: drawing more from one never moves another.
func newStream(seed uint64, label string) *stream {
	h := fnv.New64a()
	h.Write([]byte(label)) // never fails: hash.Hash documents it
	return &stream{src: rand.NewPCG(seed, h.Sum64())}
}

// float returns a uniform draw from [0, 1).
func (s *stream) float() float64 { return float64(s.src.Uint64()>>11) / (1 << 53) }

// between returns a uniform draw from [lo, hi).
func (s *stream) between(lo, hi float64) float64 {
	return lo + float64((hi-lo)*s.float())
}

// intn returns a uniform whole number from 0 to n-1.
func (s *stream) intn(n int) int { return int(float64(n) * s.float()) }

// minutes returns a uniform whole number from lo to hi, both included.
func (s *stream) minutes(lo, hi int) int { return lo + s.intn(hi-lo+1) }

// chance reports true with probability p.
func (s *stream) chance(p float64) bool { return s.float() < p }

// normal returns a standard normal draw (Box and Muller 1958, one of the pair).
func (s *stream) normal() float64 {
	r := math.Sqrt(-2 * math.Log(1-s.float()))
	return r * math.Cos(2*math.Pi*s.float())
}

// frailty returns a gamma draw with mean 1 and shape 3: fasteners of one joint
// share their fit-up, so some joints are worse than others at the same rate.
func (s *stream) frailty() float64 {
	u := (1 - s.float()) * (1 - s.float()) * (1 - s.float())
	return -math.Log(u) / 3
}

// pick returns one of the texts, all equally likely.
func (s *stream) pick(texts []string) string { return texts[s.intn(len(texts))] }
