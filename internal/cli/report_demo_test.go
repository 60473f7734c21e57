package cli_test

import (
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
)

// The manager's page of the demonstration fleet: the bad lot stands first, and the page
// needs nothing from elsewhere (testdata/demo/README.md tells what is true of it).
func TestReportOfTheDemonstration(t *testing.T) {
	t.Parallel()
	d, dir := startDemo(t), t.TempDir()
	trackctl := filepath.Join(d.bin, "trackctl")
	code, out, errOut := d.run(t, dir, trackctl, "report", "--all", "--since", "2026-05-01", "--until", "2026-08-15", "--out", "report.html")
	if code != 0 || out != "" || !strings.Contains(errOut, "written to report.html") {
		t.Fatalf("exit %d, %q\n%s", code, out, errOut)
	}
	content, err := os.ReadFile(filepath.Join(dir, "report.html"))
	if err != nil {
		t.Fatal(err)
	}
	page := string(content)
	// The joints that a failed wrench touched come before a lot that costs nuts.
	act := page[strings.Index(page, "What to act on"):]
	items := strings.SplitN(act[:strings.Index(act, "</ol>")], "</li>", 3)
	if len(items) < 3 || !strings.Contains(items[0], "QLM-W03") || !strings.Contains(items[1], "SX10-133") {
		t.Errorf("first to act on: %s", items)
	}
	if !regexp.MustCompile(`SX10-133 fails [0-9.]+ times as often as the others within the same site, treatment and material; 95 % interval`).MatchString(page) {
		t.Error("the forest plot does not find the bad lot")
	}
	if n := strings.Count(page, "<svg "); n < 8 {
		t.Errorf("%d figures", n)
	}
	for _, m := range regexp.MustCompile(`(?i)(?:src|href|action|data)="([^"#][^"]*)"|@import|<script|<link|url\(([^#)][^)]*)\)`).FindAllString(page, -1) {
		t.Errorf("the page wants %s", m)
	}
	for _, m := range regexp.MustCompile(`https?://[^"<) ]+`).FindAllString(page, -1) {
		if m != "http://www.w3.org/2000/svg" {
			t.Errorf("the page names %s", m)
		}
	}
	d.reportsOfParts(t, dir)
	d.exports(t, dir)
}

// reportsOfParts asks for a site and a region, and for the whole as JSON.
func (d *demoServer) reportsOfParts(t *testing.T, dir string) {
	t.Helper()
	trackctl := filepath.Join(d.bin, "trackctl")
	for scope, args := range map[string][]string{"site HRQ": {"--site", "hrq"}, "region northern": {"--region", "northern"}} {
		var got struct {
			Scope string `json:"scope"`
			Lots  struct {
				Rows []struct {
					Name      string `json:"name"`
					StandsOut bool   `json:"stands_out"`
				} `json:"rows"`
			} `json:"lots"`
			Coverage struct {
				Sites []struct {
					Name string `json:"name"`
				} `json:"sites"`
			} `json:"coverage"`
		}
		if err := json.Unmarshal(d.ask(t, append([]string{"report", "--since", "2026-05-01", "--until", "2026-08-15"}, args...)...), &got); err != nil {
			t.Fatal(err)
		}
		if got.Scope != scope || len(got.Lots.Rows) == 0 || got.Lots.Rows[0].Name != "SX10-133" || !got.Lots.Rows[0].StandsOut {
			t.Errorf("%s: %+v", scope, got)
		}
		for _, s := range got.Coverage.Sites {
			if s.Name == "GWT" || s.Name == "TVS" || scope == "site HRQ" && s.Name != "HRQ" {
				t.Errorf("%s tells of %s", scope, s.Name)
			}
		}
	}
	if code, _, errOut := d.run(t, dir, trackctl, "report", "--region", "nowhere", "--since", "2026-05-01", "--out", "none.html"); code != 67 || !strings.Contains(errOut, "no site is in region nowhere") {
		t.Errorf("exit %d, %s", code, errOut)
	}
	if _, err := os.Stat(filepath.Join(dir, "none.html")); err == nil {
		t.Error("a page was written though nothing was asked")
	}
}

// exports writes the rows of analyses to files, which hold what JSON says.
func (d *demoServer) exports(t *testing.T, dir string) {
	t.Helper()
	trackctl := filepath.Join(d.bin, "trackctl")
	var want struct {
		Units []map[string]any `json:"units"`
	}
	if err := json.Unmarshal(d.ask(t, "standing", "lot"), &want); err != nil {
		t.Fatal(err)
	}
	for _, args := range [][]string{{"standing", "lot"}, {"rate", "--by", "lot"}, {"trend", "--by", "week"}, {"spares"}, {"due"}} {
		file := args[0] + ".parquet"
		if code, out, errOut := d.run(t, dir, trackctl, append(args, "--export", file)...); code != 0 || out != "" {
			t.Errorf("%v: exit %d, %q\n%s", args, code, out, errOut)
			continue
		}
		rows, err := parquet.ReadFile[any](filepath.Join(dir, file))
		if err != nil || len(rows) == 0 {
			t.Errorf("%s: %d rows, %v", file, len(rows), err)
			continue
		}
		if args[0] != "standing" {
			continue
		}
		if len(rows) != len(want.Units) {
			t.Errorf("%d rows for %d", len(rows), len(want.Units))
		}
		first, ok := rows[0].(map[string]any)
		if !ok || first["unit"] != want.Units[0]["unit"] || first["ratio"] != want.Units[0]["ratio"] || first["failures"] != int64(want.Units[0]["failures"].(float64)) {
			t.Errorf("%v\nwant %v", rows[0], want.Units[0])
		}
	}
	if code, _, errOut := d.run(t, dir, trackctl, "rate", "--by", "nonsense", "--export", "bad.csv"); code == 0 {
		t.Error("nonsense was exported", errOut)
	}
	left, err := filepath.Glob(filepath.Join(dir, ".export-*"))
	if _, missing := os.Stat(filepath.Join(dir, "bad.csv")); err != nil || missing == nil || len(left) > 0 {
		t.Errorf("a command that failed left %v, %v", left, missing)
	}
}
