package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/report/figure"
)

func qualityPageOf(t *testing.T, d *QualityDocument) string {
	t.Helper()
	var b bytes.Buffer
	if err := Quality(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestGoldenQualityPage(t *testing.T) {
	golden(t, "quality.html", []byte(qualityPageOf(t, regionGulf(t))))
}

// The JSON is the whole document: read back, it is the same.
func TestQualityJSONKeepsEverything(t *testing.T) {
	for _, want := range []*QualityDocument{regionGulf(t), quietSite(), crowded()} {
		var b bytes.Buffer
		if err := QualityJSON(&b, want); err != nil {
			t.Fatal(err)
		}
		for _, n := range regexp.MustCompile(`"([^"]+)": `).FindAllStringSubmatch(b.String(), 200) {
			if !regexp.MustCompile(`^[a-z][a-z0-9_]*$`).MatchString(n[1]) {
				t.Errorf("%q is not snake_case", n[1])
			}
		}
		var got QualityDocument
		d := json.NewDecoder(&b)
		d.DisallowUnknownFields()
		if err := d.Decode(&got); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, &got); diff != "" {
			t.Errorf("(-want +got):\n%s", diff)
		}
	}
}

// What to act on comes first, then the figures in the order of acting, then how they
// were made.
func TestOrderOfActing(t *testing.T) {
	page, last := qualityPageOf(t, regionGulf(t)), -1
	for _, part := range []string{"<h1>Quality report: region Gulf</h1>", "Data as of: 2026-03-16 06:00 UTC", "What to act on", "Take lot <b><bdi>L-4471</bdi></b> out of use", `<a href="#figure-1">Figure 1</a>`,
		"The crude order of the sites misleads", "To decide this week", "Forest plot of lots", "Open holds by rule and age", "Tools due and work covered", "Spare hardware at risk",
		"Where to look", "Funnel plot of sites", "Laney p′ chart", "S-curves of", "Pareto chart of", "How it was made, and what to beware of", `id="figure-1-how"`, "Left out: Two lots",
		"What is not here, and why", "214 failures at site OLD", "Heads of the chains", "48,211"} {
		i := strings.Index(page, part)
		if i <= last {
			t.Errorf("%q stands at %d, after %d", part, i, last)
		}
		last = i
	}
	if strings.Contains(page, "ZgotmplZ") || strings.Contains(page, "<script") {
		t.Error("the page holds what it must not")
	}
}

// Each picture has a text alternative and its figures as a table.
func TestTextAlternatives(t *testing.T) {
	page := qualityPageOf(t, regionGulf(t))
	pictures := strings.Count(page, "<svg ")
	if pictures != 8 || strings.Count(page, `role="img"`) != pictures || strings.Count(page, "<desc id=") != pictures || strings.Count(page, "<summary>The same as a table</summary>") != pictures {
		t.Errorf("%d pictures without as many alternatives", pictures)
	}
	ids := map[string]bool{}
	for _, m := range regexp.MustCompile(` id="([^"]+)"`).FindAllStringSubmatch(page, -1) {
		if ids[m[1]] {
			t.Errorf("the id %s is used twice", m[1])
		}
		ids[m[1]] = true
	}
	for _, m := range regexp.MustCompile(`(?:href="#|url\(#|aria-labelledby=")([^") ]+)`).FindAllStringSubmatch(page, -1) {
		if !ids[m[1]] {
			t.Errorf("nothing has the id %s", m[1])
		}
	}
}

// On paper no letter is smaller than 9 points, and text stands out at least 4.5 to 1
// (WCAG 2.2, success criterion 1.4.3; relative luminance as defined there).
func TestLettersCanBeRead(t *testing.T) {
	page := qualityPageOf(t, regionGulf(t))
	for _, m := range regexp.MustCompile(`([0-9.]+)pt[ /;]`).FindAllStringSubmatch(regexp.MustCompile(`(?:border|padding)[^;]*;`).ReplaceAllString(page, ""), -1) {
		var size float64
		if _, err := fmt.Sscan(m[1], &size); err != nil || size < 9 {
			t.Errorf("letters of %s points", m[1])
		}
	}
	colours := regexp.MustCompile(`(?:[^-]color: |fill="|stroke=")(#[0-9a-f]{3,6})`).FindAllStringSubmatch(page, -1)
	if len(colours) < 20 {
		t.Fatalf("%d colours", len(colours))
	}
	for _, m := range colours {
		switch c := contrast(t, m[1]); {
		case m[1] == "#ccc" || m[1] == "#fff": // grid lines and fillings
		case c < 4.5:
			t.Errorf("%s stands out %.2f to 1", m[1], c)
		}
	}
}

// contrast is that of a grey against white.
func contrast(t *testing.T, colour string) float64 {
	t.Helper()
	hex := strings.TrimPrefix(colour, "#")
	if len(hex) == 3 {
		hex = string([]byte{hex[0], hex[0], hex[1], hex[1], hex[2], hex[2]})
	}
	var r, g, b int
	if _, err := fmt.Sscanf(hex, "%02x%02x%02x", &r, &g, &b); err != nil || r != g || g != b {
		t.Fatalf("%s is no grey", colour)
	}
	v := float64(r) / 255
	if v <= 0.04045 {
		return 1.05 / (v/12.92 + 0.05)
	}
	return 1.05 / (math.Pow((v+0.055)/1.055, 2.4) + 0.05)
}

func TestQualityRefuses(t *testing.T) {
	for want, change := range map[string]func(*QualityDocument){
		"scope: ":               func(d *QualityDocument) { d.Scope = "" },
		"since: ":               func(d *QualityDocument) { d.Since = "last week" },
		"data_as_of: ":          func(d *QualityDocument) { d.DataAsOf = time.Time{} },
		"lots.rows[0].value: ":  func(d *QualityDocument) { d.Lots.Rows[0].Value = ptr(math.NaN()) },
		"trends[0].points[2]":   func(d *QualityDocument) { d.Trends[0].Points[2].Value = math.Inf(1) },
		"spares: must be given": func(d *QualityDocument) { d.Spares = nil },
		"actions: must be at":   func(d *QualityDocument) { d.Actions = append(d.Actions, d.Actions...) },
		"actions[1].at_stake: ": func(d *QualityDocument) { d.Actions[1].AtStake = 1e6 },
		"actions[2].sentence: ": func(d *QualityDocument) { d.Actions[2].Sentence = "Send it away by 2026-03-27." },
		"actions[0].kind: ":     func(d *QualityDocument) { d.Actions[0].Kind = "person" },
		"left_out[0]: ":         func(d *QualityDocument) { d.LeftOut[0].Why = "" },
	} {
		d := regionGulf(t)
		change(d)
		for _, write := range []func() error{func() error { return Quality(&bytes.Buffer{}, d) }, func() error { return QualityJSON(&bytes.Buffer{}, d) }} {
			err := write()
			if e := (*figure.FieldError)(nil); !errors.As(err, &e) || !strings.HasPrefix(err.Error(), want) {
				t.Errorf("%v; want %s", err, want)
			}
		}
	}
}

func TestMostPressing(t *testing.T) {
	var all []Action
	for i := range 8 {
		all = append(all, Action{Kind: "lot", Name: fmt.Sprint(i), AtStake: float64(i / 2)})
	}
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(all), func(i, k int) { all[i], all[k] = all[k], all[i] })
	got := ""
	for _, a := range MostPressing(all) {
		got += a.Name
	}
	if got != "67452" {
		t.Errorf("the order is %s", got)
	}
	if len(MostPressing(nil)) != 0 {
		t.Error("something of nothing")
	}
}
