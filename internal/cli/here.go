package cli

import (
	"slices"
	"strings"

	"jointledger/internal/ledger"
)

// placeHere reads a place that a person typed. Besides what placeArg takes it takes
// the end of a name: `J014` within the current cell, `C3/J014` within the current
// tower, and what carried data shows to be the end of one place only below the current
// one. A leading slash says that the name is whole.
func (a *app) placeHere(text string, depths ...int) (ledger.Place, error) {
	typed, err := unlabel(text)
	if err != nil {
		return ledger.Place{}, err
	}
	whole, isWhole := strings.CutPrefix(typed, "/")
	parts := strings.Split(typed, "/")
	if typed != text || isWhole || strings.HasPrefix(typed, "sites/") || len(parts) >= slices.Max(depths) {
		return placeArg(whole, depths...)
	}
	here, ok, err := a.here()
	if err != nil {
		return ledger.Place{}, err
	}
	if !ok && len(parts) < slices.Min(depths) {
		_, err := placeArg(typed, depths...)
		return ledger.Place{}, usage("%v; the end of its name will do once this device keeps where you are: trackctl at PLACE", err)
	}
	if !ok || slices.Contains(depths, 1) && len(parts) == 1 && strings.EqualFold(typed, here.Site) {
		return placeArg(typed, depths...)
	}
	if own, ok := ownName(here, typed, depths); ok {
		a.usedPlace()
		return own, nil
	}
	if slices.Contains(depths, 1) && len(parts) == 1 {
		if site, meant, err := a.siteMeant(here, typed); err != nil || meant {
			return site, err
		}
	}
	place, err := a.below(here, typed, depths)
	if err == nil {
		a.usedPlace()
	}
	return place, err
}

// siteMeant tells, where a site may be meant as well as a joint, whether a tag is that of
// another site which this device carries: unless a joint at the current place has it too.
// A tower or a cell, which is neither, is not taken for a joint that is not there.
func (a *app) siteMeant(here ledger.Place, typed string) (ledger.Place, bool, error) {
	// What is damaged tells nothing, and must not keep an entry from being kept.
	carried, err := a.carriedPlaces(here.Site)
	if err != nil {
		return ledger.Place{}, false, nil //nolint:nilerr // see above
	}
	if carried != nil && len(carried.endingIn(here, typed, []int{4})) > 0 {
		return ledger.Place{}, false, nil
	}
	sites, err := a.sitesCarried()
	if err != nil {
		return ledger.Place{}, false, nil //nolint:nilerr // as above
	}
	if code := strings.ToUpper(typed); slices.Contains(sites, code) {
		return ledger.Place{Site: code}, true, nil
	}
	if carried == nil {
		return ledger.Place{}, false, nil
	}
	if found := carried.endingIn(ledger.Place{Site: here.Site}, typed, []int{2, 3}); len(found) > 0 {
		return ledger.Place{}, false, usage("%s is a %s; expected a joint, or a site such as %s", found[0], found[0].PlaceKind(), here.Site)
	}
	return ledger.Place{}, false, nil
}

// below finds the place that a text means to somebody who is at a place.
func (a *app) below(here ledger.Place, typed string, depths []int) (ledger.Place, error) {
	candidates := placesJoined(here, typed, depths)
	if len(candidates) == 1 && candidates[0].Parent() == here {
		// It can mean nothing else, so carried data need not be read before the entry is
		// kept; whether they know the place is told after.
		return candidates[0], nil
	}
	carried, err := a.carriedPlaces(here.Site)
	if err != nil {
		return ledger.Place{}, err
	}
	if carried != nil {
		for _, c := range candidates {
			if carried.has(c) {
				return c, nil
			}
		}
		found := carried.endingIn(here, typed, depths)
		switch len(found) {
		case 0:
		case 1:
			return found[0], nil
		default:
			return ledger.Place{}, ambiguous(typed, here, found)
		}
	}
	switch {
	case len(candidates) == 1 || carried != nil && len(candidates) > 0:
		return candidates[0], nil
	case len(candidates) > 1:
		return ledger.Place{}, ambiguous(typed, here, candidates)
	}
	if slices.Contains(depths, strings.Count(typed, "/")+1) {
		return placeArg(typed, depths...)
	}
	if carried != nil {
		return ledger.Place{}, &failure{code: exitUnknown, message: "no place below " + here.String() + " ends in " + typed}
	}
	return ledger.Place{}, usage("%s is only the end of a place, and the current place, %s, is too little to tell which; type more of it, or go nearer with trackctl at", typed, here)
}

// ownName is the current place, or one that it lies in, when the text is the end of its
// name.
func ownName(here ledger.Place, typed string, depths []int) (ledger.Place, bool) {
	for p := here; p.Depth() > 0; p = p.Parent() {
		if slices.Contains(depths, p.Depth()) && strings.HasSuffix("/"+p.String(), "/"+strings.ToUpper(typed)) {
			return p, true
		}
	}
	return ledger.Place{}, false
}

// placesJoined are the places that a text makes together with the beginning of the current
// one, the deepest first.
func placesJoined(here ledger.Place, typed string, depths []int) []ledger.Place {
	var places []ledger.Place
	sorted := slices.Sorted(slices.Values(depths))
	slices.Reverse(sorted)
	for _, depth := range sorted {
		base := here
		missing := depth - strings.Count(typed, "/") - 1
		if missing < 1 || missing > base.Depth() {
			continue
		}
		for base.Depth() > missing {
			base = base.Parent()
		}
		if place, err := ledger.ParsePlace(base.String() + "/" + typed); err == nil {
			places = append(places, place)
		}
	}
	return places
}

// listedCandidates is how many places an ambiguous text is told with.
const listedCandidates = 8

func ambiguous(typed string, here ledger.Place, found []ledger.Place) error {
	var names []string
	for _, p := range found {
		names = append(names, p.String())
	}
	slices.Sort(names)
	more := ""
	if n := len(names); n > listedCandidates {
		names, more = names[:listedCandidates], " and "+counted(n-listedCandidates, "other")
	}
	return usage("%s may be any of %s near %s: %s%s; type more of it", typed, counted(len(found), "place"), here, strings.Join(names, ", "), more)
}

// usedPlace notes that the current place completed what was typed.
func (a *app) usedPlace() {
	a.filledIn("place", a.hand["place"])
}

// placesCarried tells of the places of a site that the device carries.
type placesCarried interface {
	has(ledger.Place) bool
	// endingIn are the places at or below here whose names end in the text, at one of
	// the depths.
	endingIn(here ledger.Place, text string, depths []int) []ledger.Place
}

// carriedPlaces are the places of a site as they are carried; nil when they are not.
func (a *app) carriedPlaces(site string) (placesCarried, error) {
	p, ok, err := a.carriedFor(site)
	if err != nil || !ok {
		return nil, err
	}
	return packPlaces{p}, nil
}
