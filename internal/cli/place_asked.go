package cli

import (
	"fmt"
	"slices"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
)

// everyPlace is what is typed for all places where a current one would be taken.
const everyPlace = "/"

// placeHelp says how a place may be typed, for the help of what asks about one.
const placeHelp = "It may be the end of a name near the current place, and is that place itself when it\nis left out (trackctl at)."

// everyPlaceHelp is placeHelp for what may ask about all places.
const everyPlaceHelp = placeHelp + " A / stands for all places, and so does nothing\nwhere no current place is kept."

// placeAsked reads the place that a question is about, of one of the depths, which run
// from 1 on but for a joint alone: a whole name, or the end of one near the current
// place. Nothing typed is the current place, or the nearest of the depths that it lies
// in; that it was taken is said beside the answer.
func (a *app) placeAsked(args []string, depths ...int) (place ledger.Place, err error) {
	switch {
	case len(args) == 0:
		place, err = a.placeKept(depths)
	case !slices.Contains(depths, 1):
		place, err = a.placeHere(args[0], depths...)
	default:
		place, err = a.placeNext(args[0], depths...)
	}
	if err != nil {
		return ledger.Place{}, err
	}
	for _, l := range a.filledLines() {
		fmt.Fprintln(a.err, output.Wrap(output.Printable(l)))
	}
	return place, nil
}

// placeAskedOrAll is placeAsked where the question may be about all places: then it gives
// none.
func (a *app) placeAskedOrAll(args []string, depths ...int) (ledger.Place, error) {
	if len(args) > 0 && args[0] == everyPlace {
		return ledger.Place{}, nil
	}
	if len(args) == 0 {
		if _, somewhere, err := a.here(); err != nil || !somewhere {
			return ledger.Place{}, err
		}
	}
	return a.placeAsked(args, depths...)
}

// placeKept is the current place, or the nearest one of the depths that it lies in.
func (a *app) placeKept(depths []int) (ledger.Place, error) {
	example := ledger.Place{Site: "RVB", Tower: "CT2", Cell: "C3", Joint: "J014"}
	for example.Depth() > slices.Max(depths) {
		example = example.Parent()
	}
	here, somewhere, err := a.here()
	switch {
	case err != nil:
		return here, err
	case !somewhere:
		return here, usage("expected a place such as %s, or a current one: trackctl at PLACE keeps it", example)
	}
	for place := here; place.Depth() > 0; place = place.Parent() {
		if slices.Contains(depths, place.Depth()) {
			a.usedPlace()
			return place, nil
		}
	}
	return here, usage("expected a %s such as %s: the current place, %s, is a %s", example.PlaceKind(), example, here, here.PlaceKind())
}
