// Package nearest finds the known name that a mistyped one was probably meant
// to be.
package nearest

import (
	"strings"

	"github.com/agnivade/levenshtein"
)

// Name returns the member of known that is nearest to typed by Levenshtein's
// edit distance (1966), letter case aside, and whether it is near enough to be
// worth naming: at most a third of the longer name, and never less than one
// edit. Of equally near names the first wins, so callers pass them sorted.
func Name(typed string, known []string) (string, bool) {
	best, bestDistance := "", -1
	folded := strings.ToLower(typed)
	for _, k := range known {
		d := levenshtein.ComputeDistance(folded, strings.ToLower(k))
		if bestDistance < 0 || d < bestDistance {
			best, bestDistance = k, d
		}
	}
	if bestDistance < 0 {
		return "", false
	}
	return best, bestDistance <= max(1, max(len(typed), len(best))/3)
}
