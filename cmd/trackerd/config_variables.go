package main

import (
	"log/slog"
	"os"
	"slices"
	"strings"

	"jointledger/internal/nearest"
)

const variablePrefix = "JOINTLEDGER_"

// ofTheClient are variables that trackctl alone reads, without the prefix. They may be in
// the environment of whoever starts both, and are no mistake.
var ofTheClient = []string{"CA_FILE", "CLIENT_CERT", "CLIENT_KEY", "FOLDER", "PERSON", "SERVER", "TLS"}

// unknownVariable is a variable that looks like a setting and is none.
type unknownVariable struct {
	name string
	// meant is the setting's variable that it is most like; empty when it is like none.
	meant string
}

// unknownVariables finds them in an environment, in the order of their names.
func unknownVariables(environment []string) []unknownVariable {
	known := []string{strings.TrimPrefix(configVariable, variablePrefix)}
	for flag := range settingFlags() {
		known = append(known, strings.TrimPrefix(variableOf(flag), variablePrefix))
	}
	slices.Sort(known)
	var unknown []unknownVariable
	for _, pair := range environment {
		name, value, _ := strings.Cut(pair, "=")
		short, ours := strings.CutPrefix(name, variablePrefix)
		// An empty one counts as not given, as for those that are known.
		if !ours || value == "" || slices.Contains(known, short) || slices.Contains(ofTheClient, short) {
			continue
		}
		u := unknownVariable{name: name}
		if meant, ok := nearest.Name(short, known); ok {
			u.meant = variablePrefix + meant
		}
		unknown = append(unknown, u)
	}
	slices.SortFunc(unknown, func(a, b unknownVariable) int { return strings.Compare(a.name, b.name) })
	return unknown
}

// warnOfVariables says which variables are ignored. Their values, which may be secret, are
// not shown.
func warnOfVariables(log *slog.Logger) {
	for _, u := range unknownVariables(os.Environ()) {
		if u.meant == "" {
			log.Warn("a variable of the environment is no setting and is ignored", "variable", u.name)
			continue
		}
		log.Warn("a variable of the environment is no setting and is ignored", "variable", u.name, "did_you_mean", u.meant)
	}
}
