package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/carry/pack"
	"jointledger/internal/ledger"
)

// placeCandidates are the places that a text may become, part by part: `J0` in a cell
// becomes its joints; on a site `CT2/` becomes its cells, with a slash where a joint
// is wanted and more must follow. The text may be whole, or the end of a name as
// placeHere takes it.
func (a *app) placeCandidates(typed string, depths []int) ([]string, cobra.ShellCompDirective) {
	front, last := "", typed
	if i := strings.LastIndexByte(typed, '/'); i >= 0 {
		front, last = typed[:i+1], typed[i+1:]
	}
	deepest := slices.Max(depths)
	var names []candidate
	more := false
	// All sites: a whole name may begin with any.
	for _, p := range a.allPacks() {
		for _, base := range a.bases(p, front, last) {
			for _, child := range p.Children(base) {
				if child.Depth() > deepest || !strings.HasPrefix(child.Last(), strings.ToUpper(last)) {
					continue
				}
				n := candidate{front + child.Last(), aboutPlace(p, child)}
				if child.Depth() < deepest && !slices.Contains(depths, child.Depth()) {
					n.name += "/"
				}
				more = more || child.Depth() < deepest
				names = append(names, n)
			}
		}
	}
	slices.SortStableFunc(names, func(a, b candidate) int { return strings.Compare(a.name, b.name) })
	names = slices.CompactFunc(names, func(a, b candidate) bool { return a.name == b.name })
	directive := cobra.ShellCompDirectiveNoFileComp
	if more {
		directive |= cobra.ShellCompDirectiveNoSpace
	}
	return offered(names, typed), directive
}

// bases are the places whose children the last part of a text may be. With nothing
// before it these are the current place and those it lies in, and no place, whose
// children are the sites; while nothing at all is typed, only what is nearest.
func (a *app) bases(p *pack.Pack, front, last string) []ledger.Place {
	near := []ledger.Place{}
	here, somewhere, err := a.here()
	somewhere = somewhere && err == nil
	if somewhere && here.Site == p.Site().Code {
		for here.Depth() > 3 {
			here = here.Parent()
		}
		for ; here.Depth() > 0; here = here.Parent() {
			near = append(near, here)
		}
	}
	if front == "" {
		if last == "" && somewhere {
			return near[:min(1, len(near))]
		}
		return append(near, ledger.Place{})
	}
	whole, absolute := strings.CutPrefix(front, "/")
	whole = strings.ToUpper(strings.TrimSuffix(whole, "/"))
	if absolute && whole == "" {
		return []ledger.Place{{}}
	}
	if base, err := ledger.ParsePlace(whole); err == nil && p.Has(base) {
		return []ledger.Place{base}
	}
	if absolute {
		return nil
	}
	var bases []ledger.Place
	for _, n := range near {
		if base, err := ledger.ParsePlace(n.String() + "/" + whole); err == nil && p.Has(base) {
			bases = append(bases, base)
		}
	}
	return bases
}

// aboutPlace says a few words on a place.
func aboutPlace(p *pack.Pack, place ledger.Place) string {
	switch place.Depth() {
	case 1:
		return p.Site().Name
	case 3:
		if cell, ok := p.Cell(place); ok {
			return counted(len(cell.Joints), "joint")
		}
	case 4:
		if j, ok := p.JointWork(place); ok {
			about := fmt.Sprintf("%s, %s, %d of %d tightened", j.Joint.Specification, ledger.JointStates.Name(j.Work.Status().State), j.Work.TightenedFirst, j.Joint.Fasteners)
			if j.Work.OnHold {
				about += ", on hold"
			}
			return about
		}
	}
	return ""
}
