package rules_test

import (
	"math"
	"slices"
	"testing"
	"time"
)

// recounter counts, straight from the lines of the files and with nothing of the
// project's, what the rules are to find. It is written to be read, not to be
// fast.
type recounter struct {
	files
	testing.TB
}

// find gives the line of a file whose column has the value; nil for none.
func (c recounter) find(file, column, value string) row {
	for _, r := range c.files[file] {
		if r[column] == value {
			return r
		}
	}
	return nil
}

func (c recounter) specOf(r row) row {
	for _, j := range c.files["joints"] {
		if j["site"] == r["site"] && j["tower"] == r["tower"] && j["cell"] == r["cell"] && j["joint"] == r["joint"] {
			return c.find("specs", "spec", j["spec"])
		}
	}
	c.Fatalf("no joint for %v", r)
	return nil
}

// day is the local date at a site, as text that sorts by time.
func (c recounter) day(r row, site string) string {
	return r.time("at").In(zone(c, c.find("sites", "code", site)["time_zone"])).Format("2006-01-02")
}

// cold: surface or air below the specification's minimum, or 4.4 °C (40 °F,
// common practice).
func (c recounter) cold() (n int) {
	for _, r := range c.files["sealings"] {
		minimum := 4.4
		if spec := c.specOf(r); spec["min_surface_c"] != "" {
			minimum = spec.number("min_surface_c")
		}
		if r["surface_c"] != "" && r.number("surface_c") < minimum || r["air_c"] != "" && r.number("air_c") < minimum {
			n++
		}
	}
	return n
}

// dew: surface less than 3 °C over the dew point, by the Magnus formula with the
// coefficients of WMO-No. 8 (Sonntag 1990: 17.62 and 243.12 °C; reference,
// section I).
func (c recounter) dew() (n int) {
	for _, r := range c.files["sealings"] {
		if r["air_c"] == "" || r["surface_c"] == "" || r["humidity_pct"] == "" {
			continue
		}
		air := r.number("air_c")
		gamma := math.Log(r.number("humidity_pct")/100) + 17.62*air/(243.12+air)
		if r.number("surface_c")-243.12*gamma/(17.62-gamma) < 3 {
			n++
		}
	}
	return n
}

func (c recounter) splices() (n int) {
	for _, r := range c.files["sealings"] {
		if r["splices"] == "mid-run" {
			n++
		}
	}
	return n
}

// expired: a batch past its last day, of sealant or of compound.
func (c recounter) expired() (n int) {
	for _, r := range slices.Concat(c.files["sealings"], c.files["tightenings"]) {
		if b := c.find("batches", "batch", r["batch"]); b != nil && b["expires"] != "" && c.day(r, r["site"]) > b["expires"] {
			n++
		}
	}
	return n
}

// conflicts: anti-seize, by word or by batch, where locking compound belongs, was
// named beside it, or came before; and compound where anti-seize came before.
func (c recounter) conflicts() (n int) {
	before := map[string]map[string]bool{}
	lines := slices.Clone(c.files["tightenings"])
	slices.SortStableFunc(lines, func(a, b row) int { return a.time("at").Compare(b.time("at")) })
	for _, r := range lines {
		joint := r["site"] + r["tower"] + "/" + r["cell"] + "/" + r["joint"]
		batch := c.find("batches", "batch", r["batch"])["kind"]
		antiSeize := r["treatment"] == "anti-seize" || batch == "anti-seize"
		compound := r["treatment"] == "thread-locking-compound" || batch == "thread-locking-compound"
		spec := c.specOf(r)
		locks := spec["locking"] == "thread-locking-compound" || spec["treatment"] == "thread-locking-compound"
		if antiSeize && (compound || locks || before[joint]["thread-locking-compound"]) || compound && before[joint]["anti-seize"] {
			n++
		}
		if before[joint] == nil {
			before[joint] = map[string]bool{}
		}
		before[joint][r["treatment"]] = true
	}
	return n
}

// lapsed: used after the local day on which the wrench fell due, or after its
// cycles were used up.
func (c recounter) lapsed() (n int) {
	for _, r := range c.files["tightenings"] {
		tool := c.find("tools", "serial", r["tool"])
		var last row
		for _, k := range c.files["calibrations"] {
			if k["serial"] == r["tool"] && !k.time("at").After(r.time("at")) && (last == nil || k.time("at").After(last.time("at"))) {
				last = k
			}
		}
		if tool == nil || last == nil {
			continue
		}
		cycles := 0.0
		for _, u := range c.files["tightenings"] {
			if u["tool"] == r["tool"] && u.time("at").After(last.time("at")) && u.time("at").Before(r.time("at")) {
				cycles += u.number("fasteners")
			}
		}
		pastCycles := tool["interval_cycles"] != "" && cycles >= tool.number("interval_cycles")
		if pastCycles || tool["interval_months"] != "" && c.day(r, tool["home_site"]) > monthsAfter(c.day(last, tool["home_site"]), int(tool.number("interval_months"))) {
			n++
		}
	}
	return n
}

// monthsAfter adds months to a date and keeps it in the month it reaches.
func monthsAfter(date string, months int) string {
	d, err := time.Parse("2006-01-02", date)
	if err != nil {
		panic(err)
	}
	to := d.AddDate(0, months, 0)
	for want := (int(d.Month()) - 1 + months) % 12; int(to.Month())-1 != want; {
		to = to.AddDate(0, 0, -1)
	}
	return to.Format("2006-01-02")
}

// elsewhere: the newest custody record names another site, another holder while
// the wrench is in somebody's hands, or says that it is away or lost.
func (c recounter) elsewhere() (n int) {
	for _, r := range c.files["tightenings"] {
		var last row
		for _, k := range c.files["custody"] {
			if k["serial"] == r["tool"] && !k.time("at").After(r.time("at")) && (last == nil || !k.time("at").Before(last.time("at"))) {
				last = k
			}
		}
		if last == nil {
			continue
		}
		inHand := last["kind"] == "issued" || last["kind"] == "dropped" || last["kind"] == "overloaded"
		away := last["kind"] == "sent" || last["kind"] == "lost"
		if away || last["site"] != r["site"] || inHand && last["person"] != "" && last["person"] != r["person"] {
			n++
		}
	}
	return n
}

// unqualified: tightenings by people without a current qualification in bolting,
// sealings by people without one in sealing or bolting.
func (c recounter) unqualified() (n int) {
	for file, accepts := range map[string][]string{"tightenings": {"bolting"}, "sealings": {"bolting", "sealing"}} {
		for _, r := range c.files[file] {
			current := false
			for _, p := range c.files["people"] {
				if p["person"] == r["person"] && slices.Contains(accepts, p["qualification"]) && (p["expires"] == "" || c.day(r, r["site"]) <= p["expires"]) {
					current = true
				}
			}
			if !current {
				n++
			}
		}
	}
	return n
}

func recount(t testing.TB, all files) map[string]int {
	c := recounter{all, t}
	return map[string]int{
		"seal-cold": c.cold(), "seal-dew": c.dew(), "seal-splice": c.splices(), "batch-expired": c.expired(),
		"treatment-conflict": c.conflicts(), "tool-calibration-lapsed": c.lapsed(), "tool-elsewhere": c.elsewhere(),
		"person-unqualified": c.unqualified(),
	}
}

// TestFindingsOfAFleet holds the rules to a count made from the same files
// without them. The second round disturbs the files, so that every count has
// something to find whatever season they hold.
func TestFindingsOfAFleet(t *testing.T) {
	all := readFiles(t, *fleetFolder)
	t.Run("as it is", func(t *testing.T) { agree(t, all) })
	t.Run("disturbed", func(t *testing.T) {
		disturb(all)
		for code, n := range agree(t, all) {
			if n == 0 {
				t.Errorf("%s: nothing to find", code)
			}
		}
	})
}

func agree(t *testing.T, all files) map[string]int {
	t.Helper()
	found, want := load(t, all).findings(), recount(t, all)
	for code, n := range want {
		if found[code] != n {
			t.Errorf("%s: the rules find %d, counted %d", code, found[code], n)
		}
	}
	t.Logf("counted %v; all findings %v", want, found)
	return want
}

func otherSite(all files, site string) string {
	return all["sites"][slices.IndexFunc(all["sites"], func(s row) bool { return s["code"] != site })]["code"]
}

// disturb makes some of everything wrong: wrenches moved, handed to others and
// used up, surfaces and air colder, batches and qualifications ended in
// mid-season, splices moved, anti-seize put where it does not belong.
func disturb(all files) {
	for i, r := range all["custody"] {
		if i%5 == 0 {
			r["site"] = otherSite(all, r["site"])
		}
		if i%7 == 0 {
			r["person"] = all["people"][i%len(all["people"])]["person"]
		}
	}
	middle := all["tightenings"][len(all["tightenings"])/2].time("at").Format("2006-01-02")
	for i, r := range all["batches"] {
		if i%2 == 0 {
			r["expires"] = middle
		}
	}
	for i, r := range all["people"] {
		if i%3 == 0 && r["qualification"] != "" {
			r["expires"] = middle
		}
	}
	for i, r := range all["tools"] {
		if i%4 == 0 {
			r["interval_cycles"] = "500"
		}
		if i%4 == 1 {
			r["interval_months"] = "6"
		}
	}
	for i, r := range all["sealings"] {
		switch i % 6 {
		case 0:
			r["surface_c"] = "4.4"
		case 1:
			r["air_c"] = "4.3"
		case 2:
			r["humidity_pct"] = "82.5"
		case 3:
			r["splices"] = "mid-run"
		}
	}
	for i, r := range all["tightenings"] {
		switch i % 9 {
		case 0:
			r["treatment"] = "anti-seize"
		case 4:
			r["treatment"] = "thread-locking-compound"
		}
	}
}
