package cli

import (
	"fmt"
	"strings"

	"jointledger/internal/carry/pack"
	"jointledger/internal/ledger"
	"jointledger/internal/nearest"
)

// carriedKind is a kind of thing that carried data have by name.
type carriedKind struct {
	word  string
	names func(*pack.Pack) []string
}

func carriedKinds() map[string]carriedKind {
	return map[string]carriedKind{
		"holds": {"hold", func(*pack.Pack) []string { return nil }}, // nobody mistypes an id by a letter
		"lots":  {"lot", (*pack.Pack).Lots},
		"tools": {"tool", (*pack.Pack).Tools},
		"people": {"person", func(p *pack.Pack) (ids []string) {
			for _, v := range p.People() {
				ids = append(ids, v.ID)
			}
			return ids
		}},
		"batches": {"batch", func(p *pack.Pack) (numbers []string) {
			for _, v := range p.Batches() {
				numbers = append(numbers, v.Number)
			}
			return numbers
		}},
	}
}

// notCarried says of a thing, by its resource name, that the carried data do not know
// it, and which one they know that may be meant.
func notCarried(p *pack.Pack, resource string) string {
	collection, name, _ := strings.Cut(resource, "/")
	said, all := resource, []string(nil)
	if kind, ok := carriedKinds()[collection]; ok {
		said, all = "the "+kind.word+" "+name, kind.names(p)
	} else if place, err := ledger.ParsePlaceResource(resource); err == nil {
		said, name = place.String(), place.String()
		for _, sibling := range p.Children(place.Parent()) {
			all = append(all, sibling.String())
		}
	}
	said = fmt.Sprintf("the carried data of %s, of %s, do not know %s", p.Site().Code, dateOfData(p), said)
	if n, ok := nearest.Name(name, all); ok {
		said += " (the nearest known: " + n + ")"
	}
	return said
}

// unknownInHand says of what was typed to be kept for the shift what the carried data
// of the place do not know: now is when it can be mended, and not after a hundred
// entries. Where nothing is carried nothing is said.
func (a *app) unknownInHand(h inHand, typed map[string]string) (lines []string) {
	place, err := ledger.ParsePlace(h["place"].Value)
	if err != nil {
		return nil
	}
	p, ok, err := a.carriedFor(place.Site)
	if err != nil {
		return []string{err.Error()}
	}
	if !ok {
		return nil
	}
	_, moved := typed["place"]
	for _, key := range []struct{ flag, collection string }{{"tool", "tools"}, {"lot", "lots"}, {"batch", "batches"}, {"person", "people"}} {
		name := h[key.flag].Value
		if _, given := typed[key.flag]; name == "" || !given && !moved {
			continue
		}
		if resource := key.collection + "/" + name; !isCarried(p, key.collection, name) {
			lines = append(lines, "look: "+notCarried(p, resource))
		}
	}
	if !p.Has(place) {
		lines = append(lines, "look: "+notCarried(p, place.Resource()))
	}
	if err := p.Err(); err != nil {
		return []string{"look: " + err.Error()} // what is damaged counts as not known
	}
	return lines
}

func isCarried(p *pack.Pack, collection, name string) (ok bool) {
	switch collection {
	case "lots":
		_, ok = p.Lot(name)
	case "tools":
		_, ok = p.Tool(name)
	case "people":
		_, ok = p.Person(name)
	case "batches":
		_, ok = p.Batch(name)
	}
	return ok
}
