package stats

import (
	"fmt"
	"sort"
)

// checkPValues refuses a p-value that is NaN or outside [0, 1], naming its
// place counted from 1.
func checkPValues(p []float64) error {
	for i, value := range p {
		if !(value >= 0 && value <= 1) {
			return badNumber(fmt.Sprintf("p-value %d", i+1), value, "must lie between 0 and 1")
		}
	}
	return nil
}

// ascending gives the places of the p-values from the smallest to the largest.
func ascending(p []float64) []int {
	order := make([]int, len(p))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(i, j int) bool { return p[order[i]] < p[order[j]] })
	return order
}
