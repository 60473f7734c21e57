package ledger

import (
	"fmt"
	"strings"
)

// Place is a site or something in it. Its parts are empty from some level down:
// a tower has no Cell and no Joint.
type Place struct {
	Site, Tower, Cell, Joint string
}

// String gives the short form that people type, such as `RVB/CT2/C3/J014`.
func (p Place) String() string {
	parts := []string{p.Site, p.Tower, p.Cell, p.Joint}
	for i, s := range parts {
		if s == "" {
			parts = parts[:i]
			break
		}
	}
	return strings.Join(parts, "/")
}

var placeCollections = [...]string{"sites", "towers", "cells", "joints"}

// Depth is the number of parts: 1 for a site, 4 for a joint, 0 for nothing.
func (p Place) Depth() int {
	for i, s := range []string{p.Site, p.Tower, p.Cell, p.Joint} {
		if s == "" {
			return i
		}
	}
	return len(placeCollections)
}

// Resource gives the API's resource name, such as
// `sites/RVB/towers/CT2/cells/C3/joints/J014`; empty for no place.
func (p Place) Resource() string {
	var b strings.Builder
	b.Grow(len("sites//towers//cells//joints/") + len(p.Site) + len(p.Tower) + len(p.Cell) + len(p.Joint))
	for i, s := range []string{p.Site, p.Tower, p.Cell, p.Joint} {
		if s == "" {
			break
		}
		if i > 0 {
			b.WriteByte('/')
		}
		b.WriteString(placeCollections[i])
		b.WriteByte('/')
		b.WriteString(s)
	}
	return b.String()
}

// Parent is the place one level up; that of a site is no place.
func (p Place) Parent() Place {
	switch p.Depth() {
	case 4:
		p.Joint = ""
	case 3:
		p.Cell = ""
	case 2:
		p.Tower = ""
	default:
		return Place{}
	}
	return p
}

// Last is the lowest part: the tag of a joint, the code of a site.
func (p Place) Last() string {
	return [...]string{"", p.Site, p.Tower, p.Cell, p.Joint}[p.Depth()]
}

// PlaceKind names the level: site, tower, cell or joint.
func (p Place) PlaceKind() string {
	return [...]string{"place", "site", "tower", "cell", "joint"}[p.Depth()]
}

// ParsePlace reads the short form with one to four parts; letters are taken as
// capitals. The error says what was expected.
func ParsePlace(text string) (Place, error) {
	return placeOf(strings.Split(text, "/"), text)
}

// ParsePlaceResource reads the API's resource name of a site, tower, cell or
// joint. A part may be `-`, for all, where the caller allows it.
func ParsePlaceResource(name string) (Place, error) {
	parts := strings.Split(name, "/")
	if len(parts)%2 != 0 || len(parts) > 2*len(placeCollections) {
		return Place{}, fmt.Errorf("%q is not the name of a place; expected sites/{site}[/towers/{tower}[/cells/{cell}[/joints/{joint}]]]", name)
	}
	ids := make([]string, 0, len(placeCollections))
	for i := 0; i < len(parts); i += 2 {
		if parts[i] != placeCollections[i/2] {
			return Place{}, fmt.Errorf("%q is not the name of a place: expected %q where it has %q", name, placeCollections[i/2], parts[i])
		}
		ids = append(ids, parts[i+1])
	}
	return placeOf(ids, name)
}

func placeOf(ids []string, text string) (Place, error) {
	if len(ids) > len(placeCollections) {
		return Place{}, fmt.Errorf("%q has %d parts; expected SITE[/TOWER[/CELL[/JOINT]]]", text, len(ids))
	}
	var p Place
	for i, dst := range []*string{&p.Site, &p.Tower, &p.Cell, &p.Joint} {
		if i == len(ids) {
			break
		}
		id := strings.ToUpper(ids[i])
		if id != "-" {
			if d := checkTag(id, tagLimits[i]); d != "" {
				return Place{}, fmt.Errorf("%q: the %s %q %s", text, strings.TrimSuffix(placeCollections[i], "s"), ids[i], d)
			}
		}
		*dst = id
	}
	return p, nil
}

// ShortName gives what people type for a resource name: `RVB/CT2/C3/J014` for a
// joint, the last part for anything else.
func ShortName(resource string) string {
	if strings.HasPrefix(resource, "sites/") {
		if p, err := ParsePlaceResource(resource); err == nil {
			return p.String()
		}
	}
	return resource[strings.LastIndexByte(resource, '/')+1:]
}

var tagLimits = [...]int{16, 16, 16, 32}

// checkTag says what is wrong with a site code or tag; empty when nothing is.
func checkTag(s string, limit int) string {
	return checkID(s, limit, "capital letters, digits and hyphens", func(r byte) bool {
		return r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-'
	})
}

// checkCode says what is wrong with a lot number, serial or specification code.
func checkCode(s string) string {
	return checkID(s, 64, "letters, digits, dots, underscores and hyphens", func(r byte) bool {
		return r >= 'A' && r <= 'Z' || r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' || r == '.' || r == '_'
	})
}

// checkPersonID says what is wrong with a person's initials or badge.
func checkPersonID(s string) string {
	return checkID(s, 32, "lower-case letters, digits, dots, underscores and hyphens", func(r byte) bool {
		return r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r == '-' || r == '.' || r == '_'
	})
}

func checkID(s string, limit int, allowed string, ok func(byte) bool) string {
	switch {
	case s == "":
		return "is empty"
	case len(s) > limit:
		return fmt.Sprintf("is longer than %d characters", limit)
	case s[0] == '-' || s[0] == '.' || s[0] == '_':
		return "must start with a letter or digit"
	}
	for i := 0; i < len(s); i++ {
		if !ok(s[i]) {
			return "may have only " + allowed
		}
	}
	return ""
}
