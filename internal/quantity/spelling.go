package quantity

import (
	"strings"
	"sync"
	"unicode"
)

// place is where a unit is found.
type place struct {
	kind Kind
	unit int
}

// spelt holds every spelling of every unit, in the form that [plain] gives.
// The units of all quantities are in it, so that a length typed for a torque
// can be named as one. The pound is one of force or of mass, as is asked for.
var spelt = sync.OnceValue(func() map[string][]place {
	m := make(map[string][]place)
	for _, s := range []*scale{torques(), lengths(), temperatures(), forces(), masses()} {
		for i, u := range s.units {
			for _, spelling := range u.spellings {
				m[spelling] = append(m[spelling], place{kind: s.kind, unit: i + 1})
			}
		}
	}
	return m
})

// plain brings the many ways to type a unit to one: lower case, a point
// between factors, the degree and inch signs unified, no point at the end as
// in "in.". Lower case loses nothing: no two of the units differ only in case.
func plain(spelling string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(spelling) {
		switch {
		case blank(r), strings.ContainsRune("·⋅∙•*-‐‑", r):
			r = '.'
		case strings.ContainsRune("º˚", r): // the ordinal sign and the ring, typed for the degree sign
			r = '°'
		case strings.ContainsRune("″”", r):
			r = '"'
		case r == '℃':
			b.WriteString("°c")
			continue
		case r == '℉':
			b.WriteString("°f")
			continue
		}
		if r == '.' && strings.HasSuffix(b.String(), ".") {
			continue
		}
		b.WriteRune(r)
	}
	return strings.TrimSuffix(b.String(), ".")
}

// blank holds for the spaces and tabs that may stand around a number and a
// unit; among them the no-break spaces that typesetting puts there.
func blank(r rune) bool { return r == '\t' || unicode.Is(unicode.Zs, r) }

// products gives the ways to spell the product of a force and a length, in
// either order, joined by a point or by nothing.
func products(forces, lengths []string) []string {
	var spellings []string
	for _, force := range forces {
		for _, length := range lengths {
			spellings = append(spellings, force+"."+length, length+"."+force, force+length, length+force)
		}
	}
	return spellings
}
