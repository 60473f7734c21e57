package cli_test

import (
	"encoding/csv"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // the months are those of the sites, on any machine

	"github.com/google/go-cmp/cmp"
)

// line is a line of a file by the names of its columns.
type line map[string]string

func (l line) joint() string {
	return l["site"] + "/" + l["tower"] + "/" + l["cell"] + "/" + l["joint"]
}

// demoFiles are the files of the demonstration fleet, read with the standard
// library alone: what is counted here shares nothing with the program.
type demoFiles struct {
	t     *testing.T
	lines map[string][]line
	index map[string]map[string]line
}

func readDemo(t *testing.T) *demoFiles {
	t.Helper()
	d := &demoFiles{t: t, lines: map[string][]line{}, index: map[string]map[string]line{}}
	for _, name := range []string{"sites", "people", "specs", "lots", "batches", "joints", "sealings", "tightenings", "incidents"} {
		f, err := os.Open(filepath.Join(demoFolder, name+".csv"))
		if err != nil {
			t.Fatal(err)
		}
		records, err := csv.NewReader(f).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		if err := f.Close(); err != nil {
			t.Fatal(err)
		}
		if len(records) < 2 {
			t.Fatalf("%s.csv holds nothing to count", name)
		}
		for _, r := range records[1:] {
			l := line{}
			for i, column := range records[0] {
				l[column] = r[i]
			}
			d.lines[name] = append(d.lines[name], l)
		}
	}
	for name, key := range map[string]string{"sites": "code", "specs": "spec", "lots": "lot", "batches": "batch"} {
		d.index[name] = map[string]line{}
		for _, l := range d.lines[name] {
			d.index[name][l[key]] = l
		}
	}
	d.index["joints"] = map[string]line{}
	for _, l := range d.lines["joints"] {
		d.index["joints"][l.joint()] = l
	}
	return d
}

func (d *demoFiles) at(l line) time.Time {
	at, err := time.Parse(time.RFC3339, l["at"])
	if err != nil {
		d.t.Fatal(err)
	}
	return at
}

// day is the day of a record on the calendar of its site.
func (d *demoFiles) day(l line) string {
	zone, err := time.LoadLocation(d.index["sites"][l["site"]]["time_zone"])
	if err != nil {
		d.t.Fatal(err)
	}
	return d.at(l).In(zone).Format("2006-01-02")
}

func (d *demoFiles) number(text string) float64 {
	v, err := strconv.ParseFloat(text, 64)
	if err != nil {
		d.t.Fatal(err)
	}
	return v
}

func (d *demoFiles) whole(text string) int {
	n, err := strconv.Atoi(text)
	if err != nil {
		d.t.Fatal(err)
	}
	return n
}

func (d *demoFiles) spec(l line) line { return d.index["specs"][d.index["joints"][l.joint()]["spec"]] }

// value is what a record is grouped by.
func (d *demoFiles) value(l line, grouping string) string {
	lot := d.index["lots"][l["lot"]]
	switch grouping {
	case "region":
		return d.index["sites"][l["site"]]["region"]
	case "supplier", "material", "thread":
		return lot[grouping]
	case "driving-method":
		return l["method"]
	case "month":
		return d.day(l)[:len("2026-04")]
	}
	return l[grouping] // site, lot, treatment, person, tool
}

// sum is what is counted of a group.
type sum struct {
	Failures, Attempts int
	Known              bool
}

var threadFailures = []string{"galling", "seized", "stripped-tapping-screw", "stripped-thread", "crossed-thread", "broken-fastener"}

// rates counts, by the groupings, the fasteners of incidents of the kinds as
// failures, and as attempts those of first passes and those that any thread failure
// took. Where no tightening stands beside the failures the attempts aren't known.
func (d *demoFiles) rates(by, kinds []string) (groups map[string]sum, total sum) {
	groups = map[string]sum{}
	key := func(l line) string {
		var parts []string
		for _, g := range by {
			parts = append(parts, d.value(l, g))
		}
		return strings.Join(parts, " | ")
	}
	for _, l := range d.lines["tightenings"] {
		if l["pass"] == "first" {
			g := groups[key(l)]
			g.Attempts += d.whole(l["fasteners"])
			g.Known = true
			groups[key(l)] = g
		}
	}
	for _, l := range d.lines["incidents"] {
		if slices.Contains(threadFailures, l["kind"]) {
			g := groups[key(l)]
			g.Attempts += d.whole(l["fasteners"])
			if slices.Contains(kinds, l["kind"]) {
				g.Failures += d.whole(l["fasteners"])
			}
			groups[key(l)] = g
		}
	}
	total.Known = true
	for _, g := range groups {
		if g.Known {
			total.Failures += g.Failures
			total.Attempts += g.Attempts
		}
	}
	return groups, total
}

// answeredRates reads what trackctl answered.
func answeredRates(t *testing.T, answer []byte, by []string) (groups map[string]sum, total sum) {
	t.Helper()
	var got struct {
		Groups []map[string]any
		Total  map[string]any
	}
	if err := json.Unmarshal(answer, &got); err != nil {
		t.Fatal(err)
	}
	read := func(g map[string]any) sum {
		failures, isNumber := g["failures"].(float64)
		attempts, isNumberToo := g["attempts"].(float64)
		known, isBool := g["denominator_known"].(bool)
		if !isNumber || !isNumberToo || !isBool {
			t.Fatalf("no numbers in %v", g)
		}
		if rate, has := g["rate_per_1000"].(float64); has != known || known && (rate-1000*failures/attempts > 1e-9 || 1000*failures/attempts-rate > 1e-9) {
			t.Errorf("the rate of %v is not %v of %v per thousand", g, failures, attempts)
		}
		return sum{int(failures), int(attempts), known}
	}
	groups = map[string]sum{}
	for _, g := range got.Groups {
		var parts []string
		for _, name := range by {
			value, _ := g[strings.ReplaceAll(name, "-", "_")].(string) // null where the records name none
			parts = append(parts, value)
		}
		key := strings.Join(parts, " | ")
		if _, twice := groups[key]; twice {
			t.Errorf("the group %q comes twice", key)
		}
		groups[key] = read(g)
	}
	return groups, read(got.Total)
}

// Every figure of rate agrees to the last fastener with a count made from the files,
// by each grouping alone and by several together.
func TestRatesAgreeWithARecountOfTheFiles(t *testing.T) {
	server, files := startDemo(t), readDemo(t)
	for _, by := range []string{
		"site", "region", "lot", "supplier", "treatment", "material", "thread", "driving-method", "person", "tool", "month",
		"lot,treatment", "site,month", "supplier,month", "site,treatment", "person,tool", "region,driving-method", "thread,material", "site,lot,treatment",
	} {
		for _, kinds := range [][]string{{"galling"}, {"stripped-tapping-screw", "crossed-thread"}, threadFailures} {
			groupings := strings.Split(by, ",")
			args := []string{"rate", "--by", by}
			if len(kinds) < len(threadFailures) {
				args = append(args, "--kind", strings.Join(kinds, ","))
			}
			want, wantTotal := files.rates(groupings, kinds)
			got, total := answeredRates(t, server.ask(t, args...), groupings)
			if d := cmp.Diff(want, got); d != "" || len(want) == 0 {
				t.Errorf("trackctl %s (-counted +answered):\n%s", strings.Join(args, " "), d)
			}
			if d := cmp.Diff(wantTotal, total); d != "" || wantTotal.Attempts == 0 {
				t.Errorf("trackctl %s, total (-counted +answered):\n%s", strings.Join(args, " "), d)
			}
		}
	}
	t.Run("findings", func(t *testing.T) { findingsAgree(t, server, files) })
}

// findingsAgree holds the number of findings of five rules to what the files say.
func findingsAgree(t *testing.T, server *demoServer, files *demoFiles) {
	var got struct {
		Counts []struct {
			Severity, Rule string
			Count          int
		}
	}
	if err := json.Unmarshal(server.ask(t, "findings", "--count"), &got); err != nil {
		t.Fatal(err)
	}
	found := map[string]int{}
	for _, c := range got.Counts {
		found[c.Rule] += c.Count
	}
	for rule, count := range map[string]func() int{
		"seal-cold": files.sealedInTheCold, "seal-splice": files.splicedMidRun, "batch-expired": files.pastShelfLife,
		"treatment-conflict": files.conflictingTreatments, "person-unqualified": files.withoutQualification,
	} {
		want := count()
		if found[rule] != want || want == 0 {
			t.Errorf("%s: %d findings, counted %d", rule, found[rule], want)
		}
		var listed struct{ Findings []struct{ Rule string } }
		if err := json.Unmarshal(server.ask(t, "findings", "--rule", rule), &listed); err != nil {
			t.Fatal(err)
		}
		if len(listed.Findings) != want {
			t.Errorf("%s: %d findings listed, counted %d", rule, len(listed.Findings), want)
		}
	}
}

// sealedInTheCold: surface or air colder than the specification says, or than the
// trade's 4.4 °C where it says nothing (40 °F: common practice, no source).
func (d *demoFiles) sealedInTheCold() (n int) {
	for _, l := range d.lines["sealings"] {
		minimum := 4.4
		if m := d.spec(l)["min_surface_c"]; m != "" {
			minimum = d.number(m)
		}
		if l["surface_c"] != "" && d.number(l["surface_c"]) < minimum || l["air_c"] != "" && d.number(l["air_c"]) < minimum {
			n++
		}
	}
	return n
}

// splicedMidRun: joined elsewhere than at a corner.
func (d *demoFiles) splicedMidRun() (n int) {
	for _, l := range d.lines["sealings"] {
		if l["splices"] == "mid-run" {
			n++
		}
	}
	return n
}

// pastShelfLife: sealant or compound used after the last day of its batch, on the
// calendar of the site.
func (d *demoFiles) pastShelfLife() (n int) {
	for _, l := range slices.Concat(d.lines["sealings"], d.lines["tightenings"]) {
		if expires := d.index["batches"][l["batch"]]["expires"]; expires != "" && d.day(l) > expires {
			n++
		}
	}
	return n
}

// conflictingTreatments: anti-seize with, after or in the place of thread-locking
// compound, or compound after anti-seize, on one joint.
func (d *demoFiles) conflictingTreatments() (n int) {
	const paste, compound = "anti-seize", "thread-locking-compound"
	lines := slices.Clone(d.lines["tightenings"])
	slices.SortStableFunc(lines, func(a, b line) int { return d.at(a).Compare(d.at(b)) })
	had := map[string]bool{} // joint and treatment
	for _, l := range lines {
		batch, spec, joint := d.index["batches"][l["batch"]]["kind"], d.spec(l), l.joint()
		isPaste, isCompound := l["treatment"] == paste || batch == paste, l["treatment"] == compound || batch == compound
		specified := spec["locking"] == compound || spec["treatment"] == compound
		if isPaste && (isCompound || specified || had[joint+compound]) || isCompound && had[joint+paste] {
			n++
		}
		had[joint+l["treatment"]] = true
	}
	return n
}

// withoutQualification: fasteners tightened by somebody without a current
// qualification in bolting, seals laid by somebody with neither sealing nor bolting.
func (d *demoFiles) withoutQualification() (n int) {
	for file, accepted := range map[string][]string{"tightenings": {"bolting"}, "sealings": {"sealing", "bolting"}} {
		for _, l := range d.lines[file] {
			if !slices.ContainsFunc(d.lines["people"], func(p line) bool {
				return p["person"] == l["person"] && slices.Contains(accepted, p["qualification"]) && (p["expires"] == "" || d.day(l) <= p["expires"])
			}) {
				n++
			}
		}
	}
	return n
}
