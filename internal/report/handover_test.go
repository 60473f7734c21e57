package report

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "write the golden files anew")

func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, got, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatalf("%v; write it with -update and read it over", err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Errorf("%s (-want +got):\n%s", name, diff)
	}
}

func pageOf(t *testing.T, h *HandoverDocument) string {
	t.Helper()
	var b bytes.Buffer
	if err := Handover(&b, h); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestGoldenPages(t *testing.T) {
	golden(t, "unfinished.html", []byte(pageOf(t, unfinished(t))))
	golden(t, "finished.html", []byte(pageOf(t, finished(t, 1))))
}

func TestGoldenJSON(t *testing.T) {
	var b bytes.Buffer
	if err := HandoverJSON(&b, unfinished(t)); err != nil {
		t.Fatal(err)
	}
	golden(t, "unfinished.json", b.Bytes())
}

// The JSON is the whole record: read back, it is the same document.
func TestJSONKeepsEverything(t *testing.T) {
	for _, want := range []*HandoverDocument{unfinished(t), finished(t, 2)} {
		var b bytes.Buffer
		if err := HandoverJSON(&b, want); err != nil {
			t.Fatal(err)
		}
		var got HandoverDocument
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

func TestJSONNamesAreSnakeCase(t *testing.T) {
	var b bytes.Buffer
	if err := HandoverJSON(&b, unfinished(t)); err != nil {
		t.Fatal(err)
	}
	names := regexp.MustCompile(`"([^"]+)": `).FindAllStringSubmatch(b.String(), -1)
	if len(names) < 300 {
		t.Fatalf("only %d names", len(names))
	}
	for _, n := range names {
		if !regexp.MustCompile(`^[a-z][a-z0-9_]*$`).MatchString(n[1]) {
			t.Errorf("%q is not snake_case", n[1])
		}
	}
}

func TestTheCheckComesFirst(t *testing.T) {
	page := pageOf(t, unfinished(t))
	last := -1
	for _, part := range []string{"<h1>Hand-over record of tower ASH/CT1</h1>", "NOT COMPLETE: 4 things missing", `id="missing"`, "5 of its 12 fasteners are on record as tightened",
		`id="about"`, `id="cautions"`, `id="specifications"`, `id="lots"`, `id="tools"`, "Cell ASH/CT1/C1<", `id="joint-ASH-CT1-C1-J001"`, `id="joint-ASH-CT1-C1-J003"`,
		"Cell ASH/CT1/C2<", `id="people"`, `id="chain"`, "trackerd verify"} {
		i := strings.Index(page, part)
		if i <= last {
			t.Errorf("%q stands at %d, after %d", part, i, last)
		}
		last = i
	}
}

func TestMissingIsToldShort(t *testing.T) {
	for sentence, want := range map[string]string{
		"Joint A/B/C/D: no sealing is on record.": "No sealing is on record.",
		"Joint A/B/C/D is on hold.":               "The joint is on hold.",
		"Joint A/B/C/D2 is on hold.":              "Joint A/B/C/D2 is on hold.",
		"Cell A/B/C is on hold.":                  "Cell A/B/C is on hold.",
		"nothing":                                 "nothing",
		"":                                        "",
	} {
		if got := (Missing{"A/B/C/D", sentence}).Short(); got != want {
			t.Errorf("%q became %q, want %q", sentence, got, want)
		}
	}
}

// A page that is not complete never says that it is, and offers nothing to sign.
func TestNotCompleteSaysSo(t *testing.T) {
	page := pageOf(t, unfinished(t))
	for _, never := range []string{">COMPLETE", ": COMPLETE", "Nothing was missing", `id="signatures"`} {
		if strings.Contains(page, never) {
			t.Errorf("the page of an unfinished tower has %q", never)
		}
	}
	page = pageOf(t, finished(t, 1))
	for _, want := range []string{`<div class="verdict">COMPLETE`, `content: "Hand\00002d over record ASH\00002f CT1\00002f C1\00003a  COMPLETE"`, "Nothing was missing", `id="signatures"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page of a finished cell lacks %q", want)
		}
	}
	if strings.Contains(page, "NOT COMPLETE") || strings.Contains(page, `id="missing"`) {
		t.Error("the page of a finished cell says that something is missing")
	}
}

func TestJudge(t *testing.T) {
	hold := OpenHold{Hold: Hold{Held: "ASH/CT1/C1", Reason: "suspect"}}
	held := func(missing ...Missing) *HandoverDocument {
		return &HandoverDocument{Place: "ASH/CT1", Missing: missing, Joints: []Joint{{Place: "ASH/CT1/C1/J1", OpenHolds: []OpenHold{hold}}}}
	}
	free := func() *HandoverDocument {
		return &HandoverDocument{Place: "ASH/CT1", Joints: []Joint{{Place: "ASH/CT1/C1/J1"}}}
	}
	for _, tc := range []struct {
		name     string
		h        *HandoverDocument
		source   bool
		complete bool
		want     []Missing
	}{
		{"nothing missing", free(), true, true, nil},
		{"the source does not say why", free(), false, false, []Missing{{"ASH/CT1", "The server does not call the record complete and does not say why."}}},
		{"a hold that the source forgot", held(), true, false, []Missing{{"ASH/CT1/C1/J1", "The hold on ASH/CT1/C1 is not released: suspect."}}},
		{"a hold that the source lists", held(Missing{"ASH/CT1/C1", "The cell is on hold."}), false, false, []Missing{{"ASH/CT1/C1", "The cell is on hold."}}},
		{"something missing though the source calls it complete", held(Missing{"ASH/CT1/C1", "On hold."}), true, false, []Missing{{"ASH/CT1/C1", "On hold."}}},
		{"no joint", &HandoverDocument{Place: "ASH/CT1"}, true, false, []Missing{{"ASH/CT1", "There is no joint in the record."}}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			tc.h.Judge(tc.source)
			if tc.h.Complete != tc.complete {
				t.Errorf("complete %v", tc.h.Complete)
			}
			if diff := cmp.Diff(tc.want, tc.h.Missing); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

// What people typed can neither become markup nor turn the text around.
func TestWhatPeopleTypedStaysText(t *testing.T) {
	h := unfinished(t)
	evil := `</style><script>alert(1)</script>"` + "\n\x1b[31m\u202e"
	h.Place, h.Site.TimeZone = evil, evil
	h.Joints[0].PartA = Text(evil)
	h.Joints[0].Records[0].Note = Text(evil)
	h.Joints[0].Records[1].Attachments[0].FileName = evil
	h.Missing[0].Sentence = evil
	h.Lots[0].Supplier = Text(evil)
	page := pageOf(t, h)
	for _, never := range []string{"<script", "\x1b", "\u202e"} {
		if strings.Contains(strings.ToLower(page), never) {
			t.Errorf("the page has %q", never)
		}
	}
	if n := strings.Count(page, "</style>"); n != 1 {
		t.Errorf("%d ends of the style", n)
	}
}

func TestNothingComesFromElsewhere(t *testing.T) {
	page := pageOf(t, unfinished(t))
	if m := regexp.MustCompile(`(?i)https?://|<link|<img|<script|@import|url\(|src=`).FindString(page); m != "" {
		t.Errorf("the page has %q", m)
	}
}

type failingWriter struct{}

var errFull = errors.New("disk full")

func (failingWriter) Write([]byte) (int, error) { return 0, errFull }

func TestWriterThatFails(t *testing.T) {
	if err := Handover(failingWriter{}, finished(t, 1)); !errors.Is(err, errFull) {
		t.Errorf("page: %v", err)
	}
	if err := HandoverJSON(failingWriter{}, finished(t, 1)); !errors.Is(err, errFull) {
		t.Errorf("JSON: %v", err)
	}
}

// 16.27 N·m is 12.0 lbf·ft: 1 lbf·ft = 1.3558179483314004 N·m (NIST SP 811, 2008,
// appendix B.8); 25.4 mm is 1 in, 10 °C is 50 °F, by definition.
func TestUnitsOfTheSiteComeFirst(t *testing.T) {
	for _, tc := range []struct {
		h    *HandoverDocument
		want []string
	}{
		{unfinished(t), []string{"16.27\u00a0N·m (12\u00a0lbf·ft)", "25.4\u00a0mm (1\u00a0in)", "10\u00a0°C (50\u00a0°F)", "16.2; 14.9\u00a0N·m (11.95; 10.99\u00a0lbf·ft)"}},
		{finished(t, 1), []string{"12\u00a0lbf·ft (16.27\u00a0N·m)", "1\u00a0in (25.4\u00a0mm)", "50\u00a0°F (10\u00a0°C)", "11.95; 10.99\u00a0lbf·ft (16.2; 14.9\u00a0N·m)"}},
	} {
		page := pageOf(t, tc.h)
		for _, want := range tc.want {
			if !strings.Contains(page, want) {
				t.Errorf("the page lacks %q", want)
			}
		}
	}
}
