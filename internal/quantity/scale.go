package quantity

import (
	"fmt"
	"math"
	"math/big"
	"strings"
)

// longestText is the length in bytes of the longest text that is read.
const longestText = 64

// scale is a quantity with the units it is typed in. Units are numbered from 1
// in the order of the slice; 0 is no unit.
type scale struct {
	kind  Kind
	units []unit
	floor string // what Expected says of a value below the lowest
	below string // what Problem says of it, as in "below zero"
}

// unit turns a number n into the SI value (n−origin)·factor.
type unit struct {
	name      string // as typed on any keyboard, and as written in sentences
	symbol    string // as printed
	origin    *big.Rat
	factor    *big.Rat
	lowest    *big.Rat // the lowest number that is physically possible
	fractions bool     // whether numbers such as 1-1/2 are customary
	spellings []string
}

// multiple is a unit that is a multiple of the SI one and has no negative
// values.
func multiple(name, symbol string, factor *big.Rat, spellings ...string) unit {
	return unit{name: name, symbol: symbol, origin: new(big.Rat), factor: factor, lowest: new(big.Rat), spellings: spellings}
}

// toSI gives the float64 nearest to the exact SI value.
func (u unit) toSI(number *big.Rat) float64 {
	difference := new(big.Rat).Sub(number, u.origin)
	si, _ := difference.Mul(difference, u.factor).Float64()
	return si
}

// fromSI gives the float64 nearest to the exact number of the unit.
func (u unit) fromSI(si float64) float64 {
	value := new(big.Rat).SetFloat64(si)
	if value == nil {
		return si // not a finite number, in any unit
	}
	value.Quo(value, u.factor)
	number, _ := value.Add(value, u.origin).Float64()
	return number
}

// unit gives a unit by its ordinal. Another ordinal is a mistake in the program.
func (s *scale) unit(ordinal int) unit {
	if ordinal < 1 || ordinal > len(s.units) {
		panic(fmt.Sprintf("quantity: %d is not a unit of %s", ordinal, s.kind))
	}
	return s.units[ordinal-1]
}

// name gives the name of a unit by its ordinal, or says that it is none.
func (s *scale) name(ordinal int) string {
	if ordinal < 1 || ordinal > len(s.units) {
		return fmt.Sprintf("no unit of %s (%d)", s.kind, ordinal)
	}
	return s.units[ordinal-1].name
}

// given says which units there are: "torque is given in N.m or lbf.ft".
func (s *scale) given() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s is given in ", s.kind)
	for i, u := range s.units {
		switch {
		case i == 0:
		case i == len(s.units)-1:
			b.WriteString(" or ")
		default:
			b.WriteString(", ")
		}
		b.WriteString(u.name)
	}
	return b.String()
}

// reading is a quantity that was read.
type reading struct {
	si, number float64
	unit       int
}

// read reads a number and a unit; fallback is the unit of a bare number, 0 for
// none.
func (s *scale) read(text string, fallback int) (reading, error) {
	if fallback != 0 {
		s.unit(fallback) // panics here, whatever the text
	}
	r, fault := s.readParts(text, fallback)
	if fault != nil {
		fault.Kind, fault.Text = s.kind, text
		return reading{}, fault
	}
	return r, nil
}

func (s *scale) readParts(text string, fallback int) (reading, *ParseError) {
	if len(text) > longestText {
		return reading{}, &ParseError{
			Part:     text,
			Problem:  fmt.Sprintf("the text is %d bytes long", len(text)),
			Expected: fmt.Sprintf("%s is a number and a unit in at most %d bytes", s.kind, longestText),
		}
	}
	typed := strings.TrimFunc(text, blank)
	n, rest, fault := readNumber(typed)
	if fault != nil {
		if fault.Expected == "" {
			fault.Expected = s.given()
		}
		return reading{}, fault
	}
	ordinal, fault := s.unitOf(n, strings.TrimLeftFunc(rest, blank), fallback)
	if fault != nil {
		return reading{}, fault
	}
	return s.convert(n, ordinal, typed)
}

// unitOf finds the ordinal of the unit spelt after the number n.
func (s *scale) unitOf(n number, spelling string, fallback int) (int, *ParseError) {
	if spelling != "" {
		return s.find(spelling)
	}
	if fallback == 0 {
		return 0, &ParseError{Problem: shown(n.text) + " has no unit", Expected: s.given()}
	}
	return fallback, nil
}

// find finds the ordinal of a unit of this scale by its spelling.
func (s *scale) find(spelling string) (int, *ParseError) {
	var places []place
	if len(spelling) <= longestText {
		places = spelt()[plain(spelling)]
	}
	for _, p := range places {
		if p.kind == s.kind {
			return p.unit, nil
		}
	}
	if len(places) == 0 {
		return 0, &ParseError{Part: spelling, Problem: shown(spelling) + " is not a known unit", Expected: s.given()}
	}
	return 0, &ParseError{Part: spelling, Problem: fmt.Sprintf("%s is a %s", shown(spelling), places[0].kind), Expected: s.given()}
}

// parseUnit reads the spelling of a unit alone.
func (s *scale) parseUnit(text string) (int, error) {
	spelling := strings.TrimFunc(text, blank)
	fault := &ParseError{Problem: "there is no unit", Expected: s.given()}
	if spelling != "" {
		var ordinal int
		if ordinal, fault = s.find(spelling); fault == nil {
			return ordinal, nil
		}
	}
	fault.Kind, fault.Text = s.kind, text
	return 0, fault
}

// convert turns the number to SI, and refuses what the quantity cannot be or
// float64 cannot hold.
func (s *scale) convert(n number, ordinal int, typed string) (reading, *ParseError) {
	u := s.unit(ordinal)
	if n.fraction && !u.fractions {
		return reading{}, &ParseError{
			Part:     n.text,
			Problem:  shown(n.text) + " is a fraction",
			Expected: fmt.Sprintf("%s in %s is a decimal number", s.kind, u.name),
		}
	}
	if n.value.Cmp(u.lowest) < 0 {
		return reading{}, &ParseError{Part: n.text, Problem: shown(typed) + " is " + s.below, Expected: s.floor}
	}
	si := u.toSI(n.value)
	switch {
	case math.IsInf(si, 0):
		return reading{}, tooLarge(n.text)
	case si == 0 && n.value.Cmp(u.origin) != 0:
		return reading{}, tooSmall(n.text)
	}
	rounded, _ := n.value.Float64()
	return reading{si: si, number: rounded, unit: ordinal}, nil
}

// format gives the value in a unit, as "203.4 N·m".
func (s *scale) format(si float64, ordinal int, digits func(float64) string) string {
	u := s.unit(ordinal)
	return digits(u.fromSI(si)) + " " + u.symbol
}
