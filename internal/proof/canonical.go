package proof

import (
	"strconv"
	"strings"
)

// fields are those of canonical bytes, as they are written there.
type fields map[string]string

// fieldsOf reads canonical bytes: lines `key=value`. Of a key that comes more often,
// such as the readings of an inspection, the first counts.
func fieldsOf(canonical string) fields {
	f := fields{}
	for line := range strings.Lines(canonical) {
		key, value, _ := strings.Cut(strings.TrimSuffix(line, "\n"), "=")
		if _, twice := f[key]; !twice {
			f[key] = value
		}
	}
	return f
}

// text gives a text of the fields; empty when there is none.
func (f fields) text(key string) string {
	text, err := strconv.Unquote(f[key])
	if err != nil {
		return ""
	}
	return text
}

// site gives the site in whose chain the record stands: it is named, or is the first
// part of a place.
func (f fields) site() string {
	if site := f.text("site"); site != "" {
		return site
	}
	place := f.text("joint")
	if place == "" {
		place = f.text("place")
	}
	site, _, _ := strings.Cut(place, "/")
	return site
}

// Named are the things of the registers that a record names, each as the registers
// call it.
type Named struct {
	People, Lots, Tools, Batches, AlarmRules []string
	// Specification and Revision are those that held; empty and 0 for none.
	Specification string
	Revision      int
}

// NamedIn reads from canonical bytes what the record names.
func NamedIn(canonical []byte) Named {
	f := fieldsOf(string(canonical))
	several := func(keys ...string) (names []string) {
		for _, key := range keys {
			if name := f.text(key); name != "" {
				names = append(names, name)
			}
		}
		return names
	}
	n := Named{
		People: several("person", "holder", "override"),
		Lots:   several("lot"), Tools: several("tool"), Batches: several("batch"),
		Specification: f.text("specification"),
	}
	if f["kind"] == "alarm" {
		n.AlarmRules = several("rule")
	}
	n.Revision, _ = strconv.Atoi(f["revision"])
	return n
}
