package cli

import (
	"strings"

	"jointledger/internal/ledger"
)

// placeArg reads a place that a person typed: the short form in any letter case,
// the code of its label, or the API's resource name. The depths are those allowed: 1 for a site to 4 for
// a joint.
func placeArg(text string, depths ...int) (ledger.Place, error) {
	text, err := unlabel(text)
	if err != nil {
		return ledger.Place{}, err
	}
	var place ledger.Place
	if strings.HasPrefix(text, "sites/") {
		place, err = ledger.ParsePlaceResource(text)
	} else {
		place, err = ledger.ParsePlace(text)
	}
	if err != nil {
		return ledger.Place{}, usage("%v", err)
	}
	var expected []string
	for _, d := range depths {
		if place.Depth() == d {
			return place, nil
		}
		example := ledger.Place{Site: "RVB", Tower: "CT2", Cell: "C3", Joint: "J014"}
		for example.Depth() > d {
			example = example.Parent()
		}
		expected = append(expected, "a "+example.PlaceKind()+" such as "+example.String())
	}
	return ledger.Place{}, usage("%q is a %s; expected %s", text, place.PlaceKind(), strings.Join(expected, " or "))
}

// everywhere is a place with a `-` for each part from its own depth to depth:
// what is listed below a site, a tower or a cell.
func everywhere(place ledger.Place, depth int) string {
	parts := [4]string{place.Site, place.Tower, place.Cell, place.Joint}
	for i := range parts[:depth] {
		if parts[i] == "" {
			parts[i] = "-"
		}
	}
	return ledger.Place{Site: parts[0], Tower: parts[1], Cell: parts[2], Joint: parts[3]}.Resource()
}

// listPlace reads the place of a list of what lies below it, which may be everywhere.
func (a *app) listPlace(args []string, depth int) (string, error) {
	depths := make([]int, depth)
	for i := range depths {
		depths[i] = i + 1
	}
	place, err := a.placeAskedOrAll(args, depths...)
	if err != nil {
		return "", err
	}
	return everywhere(place, depth), nil
}

// resourceArg reads the name of a thing in a collection: a lot number, a serial,
// a code; the code of its label; or its full resource name.
func resourceArg(text, collection string) (string, error) {
	text, err := unlabel(text)
	if err != nil {
		return "", err
	}
	id := strings.TrimPrefix(strings.TrimSpace(text), collection+"/")
	if collection == "people" {
		id = strings.ToLower(id)
	}
	if id == "" || strings.Contains(id, "/") {
		return "", usage("%q is not a name in %s", text, collection)
	}
	return collection + "/" + id, nil
}

// siteOf is the resource name of a site; empty for empty.
func siteOf(code string) (string, error) {
	if code == "" {
		return "", nil
	}
	place, err := placeArg(code, 1)
	if err != nil {
		return "", err
	}
	return place.Resource(), nil
}
