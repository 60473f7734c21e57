package store_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// inPages reads a whole list in pages of a size, and checks each page's length.
func inPages[T any](t testing.TB, size int, page func(store.Page) ([]T, string, error)) []T {
	t.Helper()
	var all []T
	for after := ""; ; {
		items, next, err := page(store.Page{Size: size, After: after})
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, items...)
		if len(items) > size || next != "" && len(items) != size {
			t.Fatalf("a page of %d with next %q; expected at most %d", len(items), next, size)
		}
		if next == "" {
			return all
		}
		if len(items) == 0 || next == after {
			t.Fatalf("the list does not get on from %q", after)
		}
		after = next
	}
}

func (k kindOfThing[T]) list(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	page := func(p store.Page) ([]T, string, error) { return k.page(s, ctx, p) }
	fleet := inPages(t, 100, page)
	var fresh []T
	states := []store.OutcomeState{}
	for _, i := range []int{10, 3, 7, 1, 20} { // not in order, and 10 sorts before 3
		fresh, states = append(fresh, k.fresh(i)), append(states, store.Taken)
	}
	outcomes, err := k.registerAll(s, ctx, fresh, store.Change{})
	wantStates(t, outcomes, err, states...)

	all := inPages(t, 100, page)
	if len(all) != len(fleet)+len(fresh) {
		t.Fatalf("%d items; expected %d of the fleet and %d new", len(all), len(fleet), len(fresh))
	}
	inOrder := slices.IsSortedFunc(all, func(a, b T) int {
		return slices.Compare(strings.Split(k.short(a), "/"), strings.Split(k.short(b), "/"))
	})
	if !inOrder {
		t.Error("the list is not in the order of the names")
	}
	for _, item := range all {
		if diff := cmp.Diff(k.mustGet(t, s, item), item); diff != "" {
			t.Errorf("(-read alone +in the list):\n%s", diff)
		}
	}
	for size := 1; size <= len(all)+1; size++ {
		if diff := cmp.Diff(all, inPages(t, size, page)); diff != "" {
			t.Errorf("pages of %d (-whole +paged):\n%s", size, diff)
		}
	}
}

// placesOf gives the short forms of a list of joints, cells or towers.
func placesOf[T any](items []T, place func(T) ledger.Place) string {
	short := make([]string, len(items))
	for i, item := range items {
		short[i] = place(item).String()
	}
	return strings.Join(short, " ")
}

func testPlaceFilters(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	towers := func(within ledger.Place) string {
		return placesOf(inPages(t, 2, func(p store.Page) ([]ledger.Tower, string, error) {
			return s.Towers(ctx, store.PlaceFilter{Within: within}, p)
		}),
			func(v ledger.Tower) ledger.Place { return v.Place })
	}
	cells := func(within ledger.Place) string {
		return placesOf(inPages(t, 2, func(p store.Page) ([]ledger.Cell, string, error) {
			return s.Cells(ctx, store.PlaceFilter{Within: within}, p)
		}),
			func(v ledger.Cell) ledger.Place { return v.Place })
	}
	joints := func(f store.JointFilter) string {
		return placesOf(inPages(t, 2, func(p store.Page) ([]ledger.Joint, string, error) { return s.Joints(ctx, f, p) }),
			func(v ledger.Joint) ledger.Place { return v.Place })
	}
	place := func(site, tower, cell, joint string) ledger.Place {
		return ledger.Place{Site: site, Tower: tower, Cell: cell, Joint: joint}
	}
	for _, c := range []struct{ what, got, want string }{
		{"all towers", towers(place("-", "", "", "")), "KVR/CT1 RVB/CT1 RVB/CT2"},
		{"all towers, no place", towers(ledger.Place{}), "KVR/CT1 RVB/CT1 RVB/CT2"},
		{"towers of a site", towers(place("RVB", "-", "", "")), "RVB/CT1 RVB/CT2"},
		{"towers of a name at every site", towers(place("-", "CT1", "", "")), "KVR/CT1 RVB/CT1"},
		{"the tower of a cell", towers(place("RVB", "CT2", "C1", "")), "RVB/CT2"},
		{"all cells", cells(place("-", "-", "-", "")), "KVR/CT1/C1 RVB/CT1/C1 RVB/CT1/C2 RVB/CT2/C1"},
		{"cells of a tower", cells(place("RVB", "CT1", "-", "")), "RVB/CT1/C1 RVB/CT1/C2"},
		{"cells of a name in every tower of a site", cells(place("RVB", "-", "C1", "")), "RVB/CT1/C1 RVB/CT2/C1"},
		{"cells of a tower's name at every site", cells(place("-", "CT1", "-", "")), "KVR/CT1/C1 RVB/CT1/C1 RVB/CT1/C2"},
		{"joints of a cell", joints(store.JointFilter{Within: place("RVB", "CT2", "C1", "-")}), "RVB/CT2/C1/J001 RVB/CT2/C1/J002 RVB/CT2/C1/J003"},
		{"joints of a name in a tower", joints(store.JointFilter{Within: place("RVB", "CT1", "-", "J003")}), "RVB/CT1/C1/J003 RVB/CT1/C2/J003"},
		{"joints of a name everywhere", joints(store.JointFilter{Within: place("-", "-", "-", "J001")}), "KVR/CT1/C1/J001 RVB/CT1/C1/J001 RVB/CT1/C2/J001 RVB/CT2/C1/J001"},
		{"joints of a kind", joints(store.JointFilter{Within: place("RVB", "-", "-", "-"), Kind: ledger.JointSeam}), "RVB/CT1/C1/J003 RVB/CT1/C2/J003 RVB/CT2/C1/J003"},
		{"joints of a specification", joints(store.JointFilter{Within: place("KVR", "-", "-", "-"), Specification: storetest.Galvanized}), "KVR/CT1/C1/J002"},
		{"joints of a kind and another specification", joints(store.JointFilter{Kind: ledger.JointSeam, Specification: storetest.Galvanized}), ""},
		{"a wildcard's name that nobody has", cells(place("-", "CT9", "-", "")), ""},
	} {
		if c.got != c.want {
			t.Errorf("%s: %q; expected %q", c.what, c.got, c.want)
		}
	}
	_, _, err := s.Towers(ctx, store.PlaceFilter{Within: place("RBV", "-", "", "")}, store.Page{Size: 5})
	wantUnknown(t, err, "sites/RBV", "")
	_, _, err = s.Cells(ctx, store.PlaceFilter{Within: place("RVB", "CT11", "-", "")}, store.Page{Size: 5})
	wantUnknown(t, err, "sites/RVB/towers/CT11", "CT1")
	_, _, err = s.Joints(ctx, store.JointFilter{Within: place("RVB", "CT1", "C11", "-")}, store.Page{Size: 5})
	wantUnknown(t, err, "sites/RVB/towers/CT1/cells/C11", "C1")
	_, _, err = s.Joints(ctx, store.JointFilter{Specification: "SS-M10-STT"}, store.Page{Size: 5})
	wantUnknown(t, err, "specifications/SS-M10-STT", storetest.Stainless)
}

func testThingFilters(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	sites := func(f store.SiteFilter) string {
		items := inPages(t, 1, func(p store.Page) ([]ledger.Site, string, error) { return s.Sites(ctx, f, p) })
		return strings.Join(mapped(items, siteKind.short), " ")
	}
	lots := func(f store.LotFilter) string {
		items := inPages(t, 1, func(p store.Page) ([]ledger.Lot, string, error) { return s.Lots(ctx, f, p) })
		return strings.Join(mapped(items, lotKind.short), " ")
	}
	tools := func(f store.ToolFilter) string {
		items := inPages(t, 1, func(p store.Page) ([]ledger.Tool, string, error) { return s.Tools(ctx, f, p) })
		return strings.Join(mapped(items, toolKind.short), " ")
	}
	people := func(f store.PersonFilter) string {
		items := inPages(t, 1, func(p store.Page) ([]ledger.Person, string, error) { return s.People(ctx, f, p) })
		return strings.Join(mapped(items, personKind.short), " ")
	}
	for _, c := range []struct{ what, got, want string }{
		{"sites of a region", sites(store.SiteFilter{Region: "south"}), "KVR"},
		{"sites of no such region", sites(store.SiteFilter{Region: "South"}), ""},
		{"lots of a supplier", lots(store.LotFilter{Supplier: "Birch"}), "M10-316-5120 M16-HDG-0093"},
		{"lots of a thread", lots(store.LotFilter{Thread: "M10x1.5"}), "M10-316-4471 M10-316-5120"},
		{"lots of a supplier and a thread", lots(store.LotFilter{Supplier: "Birch", Thread: "M10x1.5"}), "M10-316-5120"},
		{"lots in quarantine", lots(store.LotFilter{State: ledger.LotQuarantined}), ""},
		{"lots released", lots(store.LotFilter{State: ledger.LotReleased}), "M10-316-4471 M10-316-5120 M16-HDG-0093"},
		{"lots used up", lots(store.LotFilter{State: ledger.LotUsedUp}), ""},
		{"tools of a kind", tools(store.ToolFilter{Kind: ledger.ToolTorqueWrench}), "TW-0107 TW-0212"},
		{"tools of a home site", tools(store.ToolFilter{HomeSite: storetest.Denver}), "IW-0031 TW-0107"},
		{"tools of a kind and a home site", tools(store.ToolFilter{Kind: ledger.ToolImpactWrench, HomeSite: storetest.Kolkata}), ""},
		{"people of a home site", people(store.PersonFilter{HomeSite: storetest.Kolkata}), "p.nair"},
		{"all people", people(store.PersonFilter{}), "a.reyes jt4 p.nair"},
	} {
		if c.got != c.want {
			t.Errorf("%s: %q; expected %q", c.what, c.got, c.want)
		}
	}
	_, _, err := s.Tools(ctx, store.ToolFilter{HomeSite: "KVRR"}, store.Page{Size: 5})
	wantUnknown(t, err, "sites/KVRR", "KVR")
	_, _, err = s.People(ctx, store.PersonFilter{HomeSite: "XYZ-99"}, store.Page{Size: 5})
	wantUnknown(t, err, "sites/XYZ-99", "")
}

func mapped[T, U any](items []T, f func(T) U) []U {
	out := make([]U, len(items))
	for i, item := range items {
		out[i] = f(item)
	}
	return out
}
