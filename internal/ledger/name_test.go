package ledger_test

import (
	"strings"
	"testing"

	"jointledger/internal/ledger"
)

func TestPlaceNames(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		place                     ledger.Place
		short, resource, last, of string
	}{
		{ledger.Place{}, "", "", "", "place"},
		{ledger.Place{Site: "RVB"}, "RVB", "sites/RVB", "RVB", "site"},
		{ledger.Place{Site: "RVB", Tower: "CT2"}, "RVB/CT2", "sites/RVB/towers/CT2", "CT2", "tower"},
		{ledger.Place{Site: "RVB", Tower: "CT2", Cell: "C3"}, "RVB/CT2/C3", "sites/RVB/towers/CT2/cells/C3", "C3", "cell"},
		{joint, "RVB/CT2/C3/J014", "sites/RVB/towers/CT2/cells/C3/joints/J014", "J014", "joint"},
		{ledger.Place{Site: "RVB", Cell: "C3"}, "RVB", "sites/RVB", "RVB", "site"}, // below a hole there is nothing
	} {
		p := c.place
		if p.String() != c.short || p.Resource() != c.resource || p.Last() != c.last || p.PlaceKind() != c.of {
			t.Errorf("%+v: %q, %q, %q, %q; expected %q, %q, %q, %q", p, p.String(), p.Resource(), p.Last(), p.PlaceKind(), c.short, c.resource, c.last, c.of)
		}
		parent := c.short[:max(0, strings.LastIndexByte(c.short, '/'))]
		if got := p.Parent().String(); got != parent {
			t.Errorf("%+v lies in %q; expected %q", p, got, parent)
		}
		if c.short != "" {
			if got := ledger.ShortName(c.resource); got != c.short {
				t.Errorf("%s is %q in short; expected %q", c.resource, got, c.short)
			}
		}
	}
	for resource, short := range map[string]string{
		"lots/M10-316": "M10-316", "people/a.reyes": "a.reyes", "specifications/SS@2": "SS@2", "alone": "alone", "": "", "sites/r/towers": "towers",
	} {
		if got := ledger.ShortName(resource); got != short {
			t.Errorf("%q is %q in short; expected %q", resource, got, short)
		}
	}
}

func TestParsePlace(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]ledger.Place{
		"rvb":             {Site: "RVB"},
		"RVB/CT2":         {Site: "RVB", Tower: "CT2"},
		"rvb/ct2/c3/j014": joint,
		"RVB/-/C3":        {Site: "RVB", Tower: "-", Cell: "C3"},
		"-":               {Site: "-"},
		"4-B-/2":          {Site: "4-B-", Tower: "2"},
	} {
		if got, err := ledger.ParsePlace(text); err != nil || got != want {
			t.Errorf("%q is %+v, %v; expected %+v", text, got, err, want)
		}
	}
	for text, says := range map[string]string{
		"":                    `the site "" is empty`,
		"/":                   `the site "" is empty`,
		"RVB/":                `the tower "" is empty`,
		"RVB/CT2/C3/J014/X":   "has 5 parts; expected SITE[/TOWER[/CELL[/JOINT]]]",
		"RVB CT2":             `the site "RVB CT2" may have only capital letters, digits and hyphens`,
		"RVB/CT_2":            `the tower "CT_2" may have only`,
		"RVB/-2":              `the tower "-2" must start with a letter or digit`,
		"RVB/CT2/C3/é":        `the joint "é" may have only`,
		"ABCDEFGHIJKLMNOPQ":   "is longer than 16 characters",
		"sites/RVB":           "", // a tower of the site SITES, in short form
		"RVB/CT2/C3/J0\x0014": "may have only",
	} {
		p, err := ledger.ParsePlace(text)
		if says == "" {
			if err != nil || p != (ledger.Place{Site: "SITES", Tower: "RVB"}) {
				t.Errorf("%q is %+v, %v", text, p, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v; expected it to say %q", text, err, says)
		}
	}
}

func TestParsePlaceResource(t *testing.T) {
	t.Parallel()
	for name, want := range map[string]ledger.Place{
		"sites/RVB":        {Site: "RVB"},
		"sites/-/towers/-": {Site: "-", Tower: "-"},
		"sites/RVB/towers/CT2/cells/C3/joints/J014": joint,
	} {
		if got, err := ledger.ParsePlaceResource(name); err != nil || got != want {
			t.Errorf("%q is %+v, %v; expected %+v", name, got, err, want)
		}
	}
	for _, name := range []string{
		"", "sites", "sites/", "RVB", "lots/RVB", "sites/RVB/cells/C3", "sites/RVB/towers", "Sites/RVB", "/sites/RVB",
		"sites/RVB/towers/CT2/cells/C3/joints/J014/bolts/1", "sites/RVB//", "sites/R B",
	} {
		if got, err := ledger.ParsePlaceResource(name); err == nil {
			t.Errorf("%q is %+v; expected an error", name, got)
		}
	}
}

// FuzzParsePlace reads any text in either form: what is read is written back the
// same in both, and never more is taken than a name may have.
func FuzzParsePlace(f *testing.F) {
	for _, seed := range []string{"RVB", "rvb/ct2/c3/j014", "-/-/-/-", "sites/RVB/towers/CT2", "RVB//C3", "ſ/ı", "a/\xff", "----", strings.Repeat("A/", 9)} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		for _, parse := range []func(string) (ledger.Place, error){ledger.ParsePlace, ledger.ParsePlaceResource} {
			p, err := parse(text)
			if err != nil {
				if p != (ledger.Place{}) {
					t.Errorf("%q is %+v besides an error", text, p)
				}
				continue
			}
			again, err := ledger.ParsePlace(p.String())
			if err != nil || again != p {
				t.Errorf("%q is %+v, whose short form is read as %+v, %v", text, p, again, err)
			}
			again, err = ledger.ParsePlaceResource(p.Resource())
			if err != nil || again != p {
				t.Errorf("%q is %+v, whose resource name is read as %+v, %v", text, p, again, err)
			}
			if p.Depth() == 0 || p.String() != strings.ToUpper(p.String()) || strings.ContainsAny(p.String(), " _\x00") {
				t.Errorf("%q is taken as %q", text, p)
			}
			if p.Parent().Depth() != p.Depth()-1 {
				t.Errorf("%q lies in %q", p, p.Parent())
			}
		}
	})
}
