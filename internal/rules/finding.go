package rules

import (
	"fmt"
	"math"
	"strconv"

	"jointledger/internal/ledger"
)

// Severity says what a finding asks for.
type Severity uint8

// Severities. A Note is to be known, a Warn to be looked into, a Hold keeps the
// joint from being handed over until somebody with the authority releases it.
const (
	Note Severity = iota + 1
	Warn
	Hold
)

// Severities are the words of Severity.
var Severities = ledger.NewWords[Severity]("severity", "note", "warn", "hold")

// String gives the word.
func (s Severity) String() string { return Severities.Name(s) }

// Finding is one rule that a record breaks.
type Finding struct {
	Rule     string // code
	Severity Severity
	// Message is one plain sentence with the figure against the limit.
	Message string
	// Figure and Limit are in Unit; nil where the rule is not one of figures. Of
	// a limit with two sides it is the side that was passed.
	Figure, Limit *float64
	Unit          string
	// Source says where the limit comes from.
	Source string
}

// against puts the figure and the limit into a finding. One that is not finite,
// which no record that was taken in has, is left out: nothing could carry it on.
func (f Finding) against(figure, limit float64, unit string) Finding {
	if math.IsInf(figure, 0) || math.IsInf(limit, 0) {
		return f
	}
	f.Figure, f.Limit, f.Unit = &figure, &limit, unit
	return f
}

func one(f Finding) []Finding { return []Finding{f} }

// relativeSlack keeps a figure on its limit from failing by a rounding error: a
// torque converted from another unit, a window worked out from a percentage. It
// is far below what any tool of the trade can tell apart.
const relativeSlack = 1e-9

func slack(limit float64) float64 { return relativeSlack * math.Max(1, math.Abs(limit)) }

// below says whether the figure is under the limit by more than the slack.
func below(figure, limit float64) bool { return figure < limit-slack(limit) }

// above says whether the figure is over the limit by more than the slack.
func above(figure, limit float64) bool { return figure > limit+slack(limit) }

// decimal writes a figure with at most the given number of decimals, without
// trailing zeros.
func decimal(v float64, places int) string {
	scale := math.Pow(10, float64(places))
	return strconv.FormatFloat(math.Round(v*scale)/scale, 'f', -1, 64)
}

// apart writes the figure and the limit with two decimals, or with more where
// two would make them look the same.
func apart(figure, limit float64) (string, string) {
	for places := 2; places < 9; places++ {
		a, b := decimal(figure, places), decimal(limit, places)
		if a != b {
			return a, b
		}
	}
	return fmt.Sprint(figure), fmt.Sprint(limit)
}
