package section

import (
	"cmp"
	"slices"
	"strings"

	"jointledger/internal/ledger"
)

// Names of the sections of which each site has one.
const (
	Plan    = "site"
	People  = "people"
	Batches = "batches"
)

// The kinds of sections of which a site has any number.
const (
	Cells          = "cells/"
	Specifications = "specifications/"
	Lots           = "lots/"
	Tools          = "tools/"
)

// Section is a named part of carried data.
type Section struct {
	Name string
	// Content is its message of the API, marshalled: the same data give the same bytes.
	Content []byte
}

// CellName is the name of the section of a cell.
func CellName(cell ledger.Place) string { return Cells + cell.Tower + "/" + cell.Cell }

// CellPlace is the cell of a section of a site; false when the section is of
// something else.
func CellPlace(site, name string) (ledger.Place, bool) {
	rest, ok := strings.CutPrefix(name, Cells)
	tower, cell, whole := strings.Cut(rest, "/")
	return ledger.Place{Site: site, Tower: tower, Cell: cell}, ok && whole
}

// Writer gathers the sections of a site.
type Writer struct {
	sections []Section
	err      error
}

// Add takes what a function that writes a section gave.
func (w *Writer) Add(s Section, err error) {
	w.sections = append(w.sections, s)
	w.err = cmp.Or(w.err, err)
}

// Sections gives the sections in the order of their names, or the first error.
func (w *Writer) Sections() ([]Section, error) {
	slices.SortFunc(w.sections, func(a, b Section) int { return strings.Compare(a.Name, b.Name) })
	return w.sections, w.err
}
