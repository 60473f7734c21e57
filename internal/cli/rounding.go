package cli

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// rounded writes a number with at most so many decimals, for a person.
func rounded(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

// pText writes a p-value with three significant digits.
func pText(p float64) string {
	if p < 0.0001 {
		return "<0.0001"
	}
	decimals := max(3-1-int(math.Floor(math.Log10(p))), 2)
	return fmt.Sprintf("%.*f", decimals, p)
}
