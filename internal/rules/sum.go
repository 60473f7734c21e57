package rules

import (
	"crypto/sha256"
	"fmt"
)

// Sum is the SHA-256 (FIPS 180-4) over findings in their order; zero for none. A
// record's link in the chain holds it, so that a finding can't be changed or
// taken away unseen.
func Sum(findings []Finding) [sha256.Size]byte {
	if len(findings) == 0 {
		return [sha256.Size]byte{}
	}
	h := sha256.New()
	for _, f := range findings {
		fmt.Fprintf(h, "%q %d %q %s %s %q %q\n", f.Rule, f.Severity, f.Message, figureText(f.Figure), figureText(f.Limit), f.Unit, f.Source)
	}
	return [sha256.Size]byte(h.Sum(nil))
}

// figureText is the shortest decimal that reads back the same.
func figureText(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprint(*v + 0) // minus zero reads as zero, as a database may keep it
}
