package ledger

import (
	"fmt"
	"strconv"
	"strings"
)

// PolicyGrammar says how a policy is typed, in one sentence.
const PolicyGrammar = "ACTION=PART,PART... with parts 12mo (months), 7d (days), 5000cycles, after-event and each-shift, such as periodic-inspection=12mo,after-event"

// Words of a policy's parts.
const (
	partMonths, partDays, partCycles = "mo", "d", "cycles"
	partAfterEvent, partEachShift    = "after-event", "each-shift"
)

// ParsePolicy reads a policy as PolicyGrammar says. Parts may be parted by blanks
// too, which need no quotes in a CSV cell. The error names what is wrong and what
// was expected; whether a number is in range is CheckPolicies' to say.
func ParsePolicy(text string) (Policy, error) {
	action, rest, ok := strings.Cut(text, "=")
	if !ok {
		return Policy{}, fmt.Errorf("%q is no policy; expected %s", text, PolicyGrammar)
	}
	var p Policy
	var err error
	if p.Action, err = PolicyActions.Parse(strings.TrimSpace(action)); err != nil {
		return Policy{}, err
	}
	parts := strings.FieldsFunc(rest, func(r rune) bool { return r == ',' || r == ' ' || r == '\t' })
	if len(parts) == 0 {
		return Policy{}, fmt.Errorf("%q sets nothing; expected %s", text, PolicyGrammar)
	}
	given := map[string]bool{}
	for _, part := range parts {
		word, err := p.set(strings.ToLower(part))
		if err != nil {
			return Policy{}, err
		}
		if given[word] {
			return Policy{}, fmt.Errorf("%q gives %s twice; expected it once", text, word)
		}
		given[word] = true
	}
	return p, nil
}

// set takes one part into the policy and gives its word.
func (p *Policy) set(part string) (string, error) {
	switch part {
	case partAfterEvent:
		p.AfterEvent = true
		return part, nil
	case partEachShift:
		p.EachShift = true
		return part, nil
	}
	digits := strings.TrimRight(part, "abcdefghijklmnopqrstuvwxyz")
	unit := part[len(digits):]
	n, err := strconv.ParseInt(digits, 10, 32)
	into := map[string]*int{partMonths: &p.Months, partDays: &p.Days, partCycles: &p.Cycles}[unit]
	switch {
	case err != nil || into == nil:
		return "", fmt.Errorf("%q is no part of a policy; expected 12mo, 7d, 5000cycles, after-event or each-shift", part)
	case n < 1:
		return "", fmt.Errorf("%q is no interval; expected a whole number of at least 1", part)
	}
	*into = int(n)
	return unit, nil
}

// String gives the policy as ParsePolicy reads it.
func (p Policy) String() string {
	var parts []string
	for _, n := range []struct {
		number int
		unit   string
	}{{p.Months, partMonths}, {p.Days, partDays}, {p.Cycles, partCycles}} {
		if n.number != 0 {
			parts = append(parts, strconv.Itoa(n.number)+n.unit)
		}
	}
	if p.AfterEvent {
		parts = append(parts, partAfterEvent)
	}
	if p.EachShift {
		parts = append(parts, partEachShift)
	}
	return PolicyActions.Name(p.Action) + "=" + strings.Join(parts, ",")
}
