package cli

import (
	"slices"
	"strings"

	"jointledger/internal/nearest"
)

const variablePrefix = "JOINTLEDGER_"

// variables are those of the environment that trackctl reads, in the order of their names.
var variables = [...]string{envCAFile, envClientCert, envClientKey, envFolder, envPerson, envServer, envTLS, envTokenFile}

// checkEnvironment names the variables that look like settings and are none: one that is
// misspelt has no effect, and nothing else would say so. Those of trackerd, which may run
// on the same machine, can't be told from them.
func checkEnvironment(environment []string) []deviceCheck {
	var known []string
	for _, name := range variables {
		known = append(known, strings.TrimPrefix(name, variablePrefix))
	}
	var checks []deviceCheck
	for _, pair := range environment {
		name, value, _ := strings.Cut(pair, "=")
		short, ours := strings.CutPrefix(name, variablePrefix)
		if !ours || value == "" || slices.Contains(known, short) {
			continue
		}
		c := deviceCheck{"environment", checkLook, name + " is no setting of trackctl and has no effect on it", "it reads " + strings.Join(variables[:], ", ")}
		if meant, ok := nearest.Name(short, known); ok {
			c.remedy = "did you mean " + variablePrefix + meant + "?"
		}
		checks = append(checks, c)
	}
	slices.SortFunc(checks, func(a, b deviceCheck) int { return strings.Compare(a.message, b.message) })
	return checks
}
