package cli_test

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

// asked reads an answer into v.
func (d *demoServer) asked(t *testing.T, v any, args ...string) {
	t.Helper()
	if err := json.Unmarshal(d.ask(t, args...), v); err != nil {
		t.Fatal(err)
	}
}

// The counts under every comparison agree with a count made from the files.
func TestComparisonsAgreeWithARecountOfTheFiles(t *testing.T) {
	server, files := startDemo(t), readDemo(t)
	t.Run("compare", func(t *testing.T) { compareAgrees(t, server, files) })
	t.Run("standing", func(t *testing.T) { standingAgrees(t, server, files) })
	t.Run("trend", func(t *testing.T) { trendAgrees(t, server, files) })
	t.Run("model", func(t *testing.T) { modelAgrees(t, server, files) })
	t.Run("spares", func(t *testing.T) { sparesAgree(t, server, files) })
	t.Run("leaks", func(t *testing.T) { leaksAgree(t, server, files) })
}

func compareAgrees(t *testing.T, server *demoServer, files *demoFiles) {
	var got struct {
		Comparisons []struct {
			Comparison                                     string
			Stratum                                        []string
			Failures_a, Attempts_a, Failures_b, Attempts_b int
			Relative_risk                                  *float64
		}
		By_joint *struct{ Joints_a, Joints_b int }
	}
	server.asked(t, &got, "compare", "treatment", "anti-seize", "none", "--kind", "galling,seized", "--strata", "lot", "--by-joint")
	want, _ := files.rates([]string{"treatment", "lot"}, []string{"galling", "seized"})
	strata := 0
	for _, row := range got.Comparisons {
		if row.Comparison != "stratum" {
			continue
		}
		strata++
		a, b := want["anti-seize | "+row.Stratum[0]], want["none | "+row.Stratum[0]]
		if (a.Known && (row.Failures_a != a.Failures || row.Attempts_a != a.Attempts)) || (b.Known && (row.Failures_b != b.Failures || row.Attempts_b != b.Attempts)) {
			t.Errorf("%+v; counted %+v and %+v", row, a, b)
		}
	}
	joints := map[string]map[string]bool{"anti-seize": {}, "none": {}}
	for _, l := range slices.Concat(files.lines["tightenings"], files.lines["incidents"]) {
		counts := l["pass"] == "first" || slices.Contains(threadFailures, l["kind"])
		if of := joints[l["treatment"]]; of != nil && counts && want[l["treatment"]+" | "+l["lot"]].Known {
			of[l.joint()] = true
		}
	}
	if strata == 0 || got.By_joint == nil || got.By_joint.Joints_a != len(joints["anti-seize"]) || got.By_joint.Joints_b != len(joints["none"]) {
		t.Errorf("%d strata, by joint %+v; counted %d and %d joints", strata, got.By_joint, len(joints["anti-seize"]), len(joints["none"]))
	}
}

func standingAgrees(t *testing.T, server *demoServer, files *demoFiles) {
	var got struct {
		Units []struct {
			Unit               string
			Failures, Attempts int
			Expected_failures  float64
		}
	}
	server.asked(t, &got, "standing", "site", "--kind", "galling")
	by := []string{"lot", "treatment", "material"}
	pooled, _ := files.rates(by, []string{"galling"})
	cells, _ := files.rates(append([]string{"site"}, by...), []string{"galling"})
	expected, units := map[string]float64{}, map[string]sum{}
	// Rates of the strata are of the cells that have a denominator.
	known := map[string]sum{}
	for key, c := range cells {
		if c.Known {
			stratum := key[len("HRQ | "):]
			known[stratum] = sum{known[stratum].Failures + c.Failures, known[stratum].Attempts + c.Attempts, true}
		}
	}
	for key, c := range cells {
		if site, stratum := key[:len("HRQ")], key[len("HRQ | "):]; c.Known {
			expected[site] += float64(c.Attempts) * float64(known[stratum].Failures) / float64(known[stratum].Attempts)
			units[site] = sum{units[site].Failures + c.Failures, units[site].Attempts + c.Attempts, true}
		}
	}
	if len(got.Units) != len(units) || len(pooled) == 0 {
		t.Fatalf("%d units, counted %d", len(got.Units), len(units))
	}
	for _, u := range got.Units {
		if want := units[u.Unit]; u.Failures != want.Failures || u.Attempts != want.Attempts || math.Abs(u.Expected_failures-expected[u.Unit]) > 1e-9 {
			t.Errorf("%+v; counted %+v, expected %v", u, want, expected[u.Unit])
		}
	}
}

func trendAgrees(t *testing.T, server *demoServer, files *demoFiles) {
	for _, period := range []string{"day", "week", "month"} {
		label := func(l line) string {
			day, err := time.Parse(time.DateOnly, files.day(l))
			if err != nil {
				t.Fatal(err)
			}
			switch period {
			case "day":
				return files.day(l)
			case "month":
				return files.day(l)[:len("2026-04")]
			}
			year, week := day.ISOWeek()
			return fmt.Sprintf("%d-W%02d", year, week)
		}
		rates, tightened := map[string]sum{}, map[string]bool{}
		for _, l := range slices.Concat(files.lines["tightenings"], files.lines["incidents"]) {
			s := rates[label(l)]
			switch {
			case l["pass"] == "first":
				s.Attempts += files.whole(l["fasteners"])
				tightened[label(l)] = true
			case slices.Contains(threadFailures, l["kind"]):
				s.Attempts += files.whole(l["fasteners"])
				s.Failures += files.whole(l["fasteners"])
			}
			rates[label(l)] = s
		}
		want := map[string]float64{}
		for name, s := range rates {
			if tightened[name] {
				want[name] = 1000 * float64(s.Failures) / float64(s.Attempts)
			}
		}
		var got struct {
			Points []struct {
				Label string
				Value float64
			}
		}
		server.asked(t, &got, "trend", "--by", period, "--chart", "p")
		answered := map[string]float64{}
		for _, p := range got.Points {
			answered[p.Label] = p.Value
		}
		near := cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-9 })
		if d := cmp.Diff(want, answered, near); d != "" || len(want) == 0 {
			t.Errorf("by %s (-counted +answered):\n%s", period, d)
		}
	}
}

func modelAgrees(t *testing.T, server *demoServer, files *demoFiles) {
	var got struct {
		Rates []struct {
			Term, Level    string
			Failures       int
			Size           float64
			Crude_per_1000 float64
		}
		Clusters int
	}
	server.asked(t, &got, "model", "--response", "galling", "--factor", "site", "--cluster", "joint")
	want, _ := files.rates([]string{"site"}, []string{"galling"})
	if len(got.Rates) != len(want) || got.Clusters == 0 {
		t.Fatalf("%+v; counted %+v", got, want)
	}
	for _, r := range got.Rates {
		w := want[r.Level]
		if r.Failures != w.Failures || r.Size != float64(w.Attempts) || math.Abs(r.Crude_per_1000-1000*float64(w.Failures)/float64(w.Attempts)) > 1e-9 {
			t.Errorf("%+v; counted %+v", r, w)
		}
	}
}

func sparesAgree(t *testing.T, server *demoServer, files *demoFiles) {
	done := map[string]int{}
	for _, l := range files.lines["tightenings"] {
		if l["pass"] == "first" {
			done[l.joint()] += files.whole(l["fasteners"])
		}
	}
	remaining := map[string]int{}
	for _, l := range files.lines["joints"] {
		remaining[l["site"]] += max(0, files.whole(l["fasteners"])-done[l.joint()])
	}
	var got struct {
		Items []struct {
			Site      string
			Remaining int
		}
	}
	server.asked(t, &got, "spares", "--lead-days", "14", "--as-of", "2026-05-01")
	answered := map[string]int{}
	for _, i := range got.Items {
		answered[i.Site] += i.Remaining
	}
	for site, n := range remaining {
		if n == 0 {
			delete(remaining, site)
		}
	}
	if d := cmp.Diff(remaining, answered); d != "" || len(remaining) == 0 {
		t.Errorf("remaining (-counted +answered):\n%s", d)
	}
}

func leaksAgree(t *testing.T, server *demoServer, files *demoFiles) {
	var got struct {
		Sealings, Failed int
		Bands            []struct {
			Condition, Band  string
			Sealings, Failed int
		}
	}
	server.asked(t, &got, "leaks")
	lines := slices.Clone(files.lines["sealings"])
	slices.SortStableFunc(lines, func(a, b line) int { return files.at(a).Compare(files.at(b)) })
	failed, cold := 0, 0
	for i, l := range lines {
		leaked := false
		for _, e := range files.lines["incidents"] {
			if e["kind"] != "leak" && e["kind"] != "seal-gap" || e.joint() != l.joint() || files.at(e).Before(files.at(l)) {
				continue
			}
			again := slices.ContainsFunc(lines[i+1:], func(next line) bool { return next.joint() == l.joint() && !files.at(next).After(files.at(e)) })
			leaked = leaked || !again
		}
		if leaked {
			failed++
		}
		if l["surface_c"] != "" && files.number(l["surface_c"]) >= 10 && files.number(l["surface_c"]) < 20 {
			cold++
		}
	}
	if got.Sealings != len(lines) || got.Failed != failed || len(lines) == 0 {
		t.Errorf("%d of %d failed, counted %d of %d", got.Failed, got.Sealings, failed, len(lines))
	}
	for _, b := range got.Bands {
		if b.Condition == "surface_c" && b.Band == "10 to 20 °C" && b.Sealings != cold {
			t.Errorf("%+v, counted %d", b, cold)
		}
	}
}
