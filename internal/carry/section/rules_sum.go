package section

import (
	"crypto/sha256"
	"fmt"

	"jointledger/internal/rules"
)

// RulesSum is the SHA-256 over the table of rules of this program, with their
// limits and the defaults: two programs with the same sum find the same things in
// the same facts, as far as the table says.
func RulesSum() Sum {
	h := sha256.New()
	for _, r := range rules.Table() {
		fmt.Fprintf(h, "%q %v %q %q %v\n", r.Code, r.Severities, r.Limit, r.Sentence, r.Kinds)
	}
	for _, d := range rules.Defaults() {
		fmt.Fprintf(h, "%q %q %g %q\n", d.Key, d.Rule, d.Limit.Value, d.Limit.Unit)
	}
	return Sum(h.Sum(nil))
}
