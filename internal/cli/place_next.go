package cli

import (
	"strings"

	"jointledger/internal/ledger"
)

// placeNext reads the place to go to: a whole name, or the end of one that is beside
// or below the current place, of the depths from 1 on.
func (a *app) placeNext(text string, depths ...int) (ledger.Place, error) {
	typed, err := unlabel(text)
	if err != nil {
		return ledger.Place{}, err
	}
	here, ok, err := a.here()
	if err != nil {
		return ledger.Place{}, err
	}
	whole, isWhole := strings.CutPrefix(typed, "/")
	parts := strings.Split(typed, "/")
	// A name that begins with the current site is a whole one, and so is one as long
	// as the longest there is.
	if !ok || isWhole || typed != text || parts[0] == "sites" || strings.EqualFold(parts[0], here.Site) || len(parts) >= len(depths) {
		return placeArg(whole, depths...)
	}
	carried, err := a.carriedPlaces(here.Site)
	if err != nil {
		return ledger.Place{}, err
	}
	if carried == nil {
		if p, ok := likelyNext(here, typed, len(depths)); ok {
			return p, nil
		}
		return placeArg(typed, depths...)
	}
	// Below first, then beside, then beside what the current place lies in.
	for in := here; in.Depth() > 0; in = in.Parent() {
		switch found := carried.endingIn(in, typed, depths[min(in.Depth(), len(depths)-1):]); len(found) {
		case 0:
		case 1:
			return found[0], nil
		default:
			return ledger.Place{}, ambiguous(typed, in, found)
		}
	}
	return placeArg(typed, depths...)
}

// likelyNext tells without carried data what a text means to somebody at a place: C4
// is beside C3 and CT3 beside CT2, since tags of a kind begin alike; another tag with
// a number is one below. What begins without a number is the code of a site.
func likelyNext(here ledger.Place, typed string, deepest int) (ledger.Place, bool) {
	parts := strings.Split(strings.ToUpper(typed), "/")
	last := parts[len(parts)-1]
	if family(parts[0]) == parts[0] {
		return ledger.Place{}, false
	}
	for in := here; in.Depth() > 1; in = in.Parent() {
		if in.Depth() >= len(parts) && family(in.Last()) == family(last) {
			return firstOf(placesJoined(here, typed, []int{in.Depth()}))
		}
	}
	if below := here.Depth() + len(parts); below <= deepest {
		return firstOf(placesJoined(here, typed, []int{below}))
	}
	return ledger.Place{}, false
}

func firstOf(places []ledger.Place) (ledger.Place, bool) {
	if len(places) == 0 {
		return ledger.Place{}, false
	}
	return places[0], true
}

// family is a tag without the number that it ends in.
func family(tag string) string { return strings.TrimRight(tag, "0123456789") }
