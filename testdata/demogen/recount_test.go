package main

import (
	"bytes"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// The tests of this file read the committed CSV files and count for themselves:
// they use nothing of the generator, neither its types nor its constants. The
// planted figures stand here a second time on purpose.

const demo = "../demo"

// line is one line of a file, by column name.
type line map[string]string

// read returns the lines of a committed file.
func read(t *testing.T, name string) []line {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(demo, name+".csv"))
	if err != nil {
		t.Fatal(err)
	}
	all, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []line
	for _, cells := range all[1:] {
		l := line{}
		for i, c := range cells {
			l[all[0][i]] = c
		}
		out = append(out, l)
	}
	return out
}

// number reads a whole number.
func number(t *testing.T, text string) int {
	t.Helper()
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// threadFailures are the kinds of incident that end an attempt.
var threadFailures = map[string]bool{
	"galling": true, "seized": true, "stripped-tapping-screw": true,
	"stripped-thread": true, "crossed-thread": true, "broken-fastener": true,
}

// count is what the records say of a group: attempts as the domain defines them
// (fasteners of first passes plus fasteners of thread failures), and how many of
// them ended in galling or in any thread failure.
type count struct{ attempts, galled, failed int }

func (c count) galling() float64 { return float64(c.galled) / float64(c.attempts) }

// recount counts the records of stainless lots that belong to a group.
func recount(t *testing.T, belongs func(line) bool) count {
	t.Helper()
	stainless := map[string]bool{}
	for _, l := range read(t, "lots") {
		stainless[l["lot"]] = l["material"] == "304"
	}
	var c count
	for _, l := range read(t, "tightenings") {
		if l["pass"] == "first" && stainless[l["lot"]] && belongs(l) {
			c.attempts += number(t, l["fasteners"])
		}
	}
	for _, l := range read(t, "incidents") {
		if !threadFailures[l["kind"]] || !stainless[l["lot"]] || !belongs(l) {
			continue
		}
		n := number(t, l["fasteners"])
		c.attempts += n
		c.failed += n
		if l["kind"] == "galling" {
			c.galled += n
		}
	}
	if c.attempts == 0 {
		t.Fatal("a group without attempts")
	}
	return c
}

func all(line) bool { return true }

func inLot(lot string) func(line) bool { return func(l line) bool { return l["lot"] == lot } }

func atSite(site string) func(line) bool { return func(l line) bool { return l["site"] == site } }

func without(lot string) func(line) bool { return func(l line) bool { return l["lot"] != lot } }

func both(a, b func(line) bool) func(line) bool { return func(l line) bool { return a(l) && b(l) } }

func treated(how string) func(line) bool { return func(l line) bool { return l["treatment"] == how } }

const bad = "SX10-133"

// The bad lot galls at least three times as often as the other stainless lots
// together, and more often than each of them.
func TestBadLotShows(t *testing.T) {
	lot, others := recount(t, inLot(bad)), recount(t, without(bad))
	if ratio := lot.galling() / others.galling(); ratio < 3 {
		t.Errorf("bad lot %+v against others %+v: ratio %.2f, want 3 or more", lot, others, ratio)
	}
	for _, l := range read(t, "lots") {
		if l["material"] != "304" || l["lot"] == bad {
			continue
		}
		if other := recount(t, inLot(l["lot"])); other.galling() > lot.galling()/2 {
			t.Errorf("lot %s %+v is near the bad lot %+v", l["lot"], other, lot)
		}
	}
	if supplier := recount(t, inLot("SX10-140")); supplier.galling() > 2*others.galling() {
		t.Errorf("the supplier's other lot of the same thread looks bad too: %+v", supplier)
	}
}

// The bad lot shows at both sites that had it, so that lot and site can be told
// apart.
func TestBadLotShowsAtBothSites(t *testing.T) {
	for _, site := range []string{"HRQ", "QLM"} {
		here := recount(t, both(atSite(site), inLot(bad)))
		rest := recount(t, both(atSite(site), without(bad)))
		if here.galling() < 2.5*rest.galling() {
			t.Errorf("%s: bad lot %+v against the rest %+v", site, here, rest)
		}
	}
}

// At the site that ran out of anti-seize, dry threads gall at least twice as
// often as treated ones; every other site treated all its stainless joints.
func TestUntreatedShows(t *testing.T) {
	dry := recount(t, both(atSite("GWT"), treated("none")))
	paste := recount(t, both(atSite("GWT"), treated("anti-seize")))
	if ratio := dry.galling() / paste.galling(); ratio < 2 {
		t.Errorf("dry %+v against treated %+v: ratio %.2f, want 2 or more", dry, paste, ratio)
	}
	if share := float64(dry.attempts) / float64(dry.attempts+paste.attempts); share < 0.2 || share > 0.5 {
		t.Errorf("dry share %.2f of the site's stainless attempts, want a part of them", share)
	}
	elsewhere := map[string]bool{}
	material := map[string]string{}
	for _, l := range read(t, "lots") {
		material[l["lot"]] = l["material"]
	}
	for _, l := range read(t, "tightenings") {
		if material[l["lot"]] == "304" && l["treatment"] == "none" {
			elsewhere[l["site"]] = true
		}
	}
	if len(elsewhere) != 1 || !elsewhere["GWT"] {
		t.Errorf("dry stainless joints at %v, want GWT alone", elsewhere)
	}
}

// Harrowquay's crude rate is well above the big ordinary site's; without the bad
// lot it is not above the fleet's.
func TestOneSiteOnlyLooksBad(t *testing.T) {
	crude, ordinary := recount(t, atSite("HRQ")), recount(t, atSite("QLM"))
	if crude.galling() < 1.5*ordinary.galling() {
		t.Errorf("HRQ %+v does not look bad beside QLM %+v", crude, ordinary)
	}
	rest, fleet := recount(t, both(atSite("HRQ"), without(bad))), recount(t, without(bad))
	if rest.galling() > 1.2*fleet.galling() {
		t.Errorf("HRQ without the bad lot %+v is above the fleet without it %+v", rest, fleet)
	}
}

// Tarn Vesper heads the crude ranking on few attempts, and as many failures or
// more would come by chance more often than once in forty times: the planted
// rate of treated stainless in good lots is 0.006.
func TestSmallSiteIsOnlyUnlucky(t *testing.T) {
	small := recount(t, atSite("TVS"))
	if small.attempts > 500 {
		t.Errorf("the small site has %d attempts", small.attempts)
	}
	for _, l := range read(t, "sites") {
		if other := recount(t, atSite(l["code"])); other.galling() > small.galling() {
			t.Errorf("%s %+v is above the small site %+v", l["code"], other, small)
		}
	}
	if p := binomialTail(small.galled, small.attempts, 0.006); p < 1.0/40 {
		t.Errorf("%d or more of %d at the planted rate has probability %.4f: more than bad luck", small.galled, small.attempts, p)
	}
}

// The tail that TestSmallSiteIsOnlyUnlucky relies on, at values anyone can work
// out: one or more heads in two tosses, two or more sixes in three throws
// (3·5/216 + 1/216 = 16/216).
func TestBinomialTail(t *testing.T) {
	for _, c := range []struct {
		k, n    int
		p, want float64
	}{{1, 2, 0.5, 0.75}, {2, 3, 1.0 / 6, 16.0 / 216}, {0, 5, 0.1, 1}} {
		if got := binomialTail(c.k, c.n, c.p); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("P(X ≥ %d) of %d at %g = %.12f, want %.12f", c.k, c.n, c.p, got, c.want)
		}
	}
}

// binomialTail is the probability of k or more successes in n trials.
func binomialTail(k, n int, p float64) float64 {
	term := math.Pow(1-p, float64(n))
	below := 0.0
	for i := range k {
		below += term
		term *= float64(n-i) / float64(i+1) * p / (1 - p)
	}
	return 1 - below
}

// Driving method was planted without effect: treated stainless of good lots must
// not show a large one.
func TestMethodShowsNoEffect(t *testing.T) {
	plain := both(without(bad), treated("anti-seize"))
	m10 := func(l line) bool { return len(l["lot"]) > 4 && l["lot"][:4] == "SX10" }
	by := func(how string) count {
		return recount(t, both(both(plain, m10), func(l line) bool { return l["method"] == how }))
	}
	hand, impact := by("hand"), by("impact-then-torque-tool")
	if r := hand.galling() / impact.galling(); r < 1.0/3 || r > 3 {
		t.Errorf("hand %+v against impact %+v: ratio %.2f", hand, impact, r)
	}
}
