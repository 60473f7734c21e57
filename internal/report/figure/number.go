package figure

import (
	"math"
	"strconv"
	"strings"
)

// Number writes a figure as a person reads it: three digits that count, whole
// numbers from 1,000 on with commas.
func Number(v float64) string {
	size := math.Abs(v)
	switch {
	case v == 0:
		return "0"
	case size >= 999.5 && size < 1e15:
		return Count(int64(math.Round(v)))
	case size >= 0.001 && size < 1000:
		decimals := max(0, 2-int(math.Floor(math.Log10(size))))
		s := strconv.FormatFloat(v, 'f', decimals, 64)
		if strings.Contains(s, ".") {
			s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
		}
		return minus(s)
	}
	return minus(strconv.FormatFloat(v, 'g', 3, 64))
}

// Count writes a whole number with commas.
func Count(n int64) string {
	s := strconv.FormatInt(n, 10)
	sign := ""
	if s[0] == '-' {
		sign, s = "−", s[1:]
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return sign + s
}

func minus(s string) string {
	if rest, negative := strings.CutPrefix(s, "-"); negative {
		return "−" + rest
	}
	return s
}

// Percent writes a share of 1 as a percentage.
func Percent(p float64) string {
	switch {
	case p > 0 && p < 0.01:
		return "<1 %"
	case p < 1 && p > 0.99:
		return ">99 %"
	}
	return strconv.Itoa(int(math.Round(100*p))) + " %"
}

// Estimate writes a value with its interval: `4.9 (2.8 to 8.4)`. A limit that is
// nil is unbounded, a value that is nil cannot be given.
func Estimate(value, lower, upper *float64) string {
	interval := "no limits"
	switch {
	case lower != nil && upper != nil:
		interval = Number(*lower) + " to " + Number(*upper)
	case lower != nil:
		interval = "above " + Number(*lower)
	case upper != nil:
		interval = "below " + Number(*upper)
	}
	if value == nil {
		if lower == nil && upper == nil {
			return "no estimate"
		}
		return interval
	}
	return Number(*value) + " (" + interval + ")"
}

func optional(v *float64) string {
	if v == nil {
		return "–"
	}
	return Number(*v)
}
