package quantity

import (
	"strconv"
	"strings"
	"unicode"
)

// ParseError reports text that is not the quantity asked for. It is the only
// type of error that this package returns, always as a pointer.
type ParseError struct {
	Kind     Kind   // the quantity asked for
	Text     string // the text as it was typed
	Part     string // the part of Text that is at fault; empty when something is missing
	Problem  string // what is wrong with the part, as in "mm is a length"
	Expected string // what is right, as in "torque is given in N.m or lbf.ft"
}

// Error gives the text, what is wrong with it and what is right, in one line of
// printable characters:
//
//	"150 mm": mm is a length; torque is given in N.m, lbf.ft, lbf.in or kgf.m
func (e *ParseError) Error() string {
	return strconv.Quote(clipped(e.Text)) + ": " + e.Problem + "; " + e.Expected
}

// shown gives a part of what was typed for use in a sentence: quoted if it has
// anything that could disturb the line or the terminal it is printed on.
func shown(part string) string {
	part = clipped(part)
	unprintable := func(r rune) bool { return !unicode.IsPrint(r) || r == unicode.ReplacementChar }
	if strings.ContainsFunc(part, unprintable) {
		return strconv.Quote(part)
	}
	return part
}

// clipped cuts what is longer than a quantity can be; the text may be anything,
// such as a whole file on one line.
func clipped(text string) string {
	if len(text) <= longestText {
		return text
	}
	return strings.ToValidUTF8(text[:longestText], "") + "…"
}
