package report

import (
	"bytes"
	"context"
	"encoding/xml"
	"fmt"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// paper is a size of sheet, in points of 1/72 inch: A4 is 210 × 297 mm (ISO 216),
// letter 8.5 × 11 in (ANSI/ASME Y14.1, size A).
type paper struct {
	name          string
	width, height float64
}

var papers = []paper{{"A4", 210 / 25.4 * 72, 297 / 25.4 * 72}, {"letter", 8.5 * 72, 11 * 72}}

// The margins of the page, in points: 15 mm at the sides. The browser rounds to
// pixels and the PDF gives the boxes of whole letters, so that a word may stand out
// by a hair.
const (
	sideMargin = 15 / 25.4 * 72
	slack      = 2
)

// program finds a program that these tests need.
func program(t *testing.T, name, debian string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		t.Fatalf("%s is not installed (Debian's package %s), and the hand-over page is looked at with it; `make test` installs it: %v", name, debian, err)
	}
	return path
}

// chromium runs the browser without a window, in a profile of its own.
func chromium(t *testing.T, args ...string) {
	t.Helper()
	browser := program(t, "chromium", "chromium")
	profile, err := os.MkdirTemp("", "handover-browser-") //nolint:usetesting // see below: t.TempDir insists on removing it
	if err != nil {
		t.Fatal(err)
	}
	// A helper process of the browser may still write there for a moment, so that
	// removing it is tried and not insisted on.
	defer os.RemoveAll(profile)
	ctx, cancel := context.WithTimeout(t.Context(), 2*time.Minute)
	defer cancel()
	cmd := exec.CommandContext(ctx, browser, append([]string{"--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
		"--disable-component-update", "--disable-sync", "--hide-scrollbars", "--user-data-dir=" + profile}, args...)...)
	cmd.Env = append(os.Environ(), "HOME="+profile)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("chromium: %v\n%s", err, out)
	}
}

// file writes a page to look at.
func file(t *testing.T, html string) string {
	t.Helper()
	name := filepath.Join(t.TempDir(), "page.html")
	if err := os.WriteFile(name, []byte(html), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

// sheet is one printed page: its words with where they stand, in points from the
// upper left corner.
type sheet struct {
	Width  float64 `xml:"width,attr"`
	Height float64 `xml:"height,attr"`
	Words  []struct {
		XMin float64 `xml:"xMin,attr"`
		XMax float64 `xml:"xMax,attr"`
		YMin float64 `xml:"yMin,attr"`
		YMax float64 `xml:"yMax,attr"`
		Text string  `xml:",chardata"`
	} `xml:"word"`
}

func (s sheet) text() string {
	words := make([]string, len(s.Words))
	for i, w := range s.Words {
		words[i] = w.Text
	}
	return strings.ReplaceAll(strings.Join(words, " "), "\u00a0", " ")
}

// outside are the words that stand beyond the margins.
func (s sheet) outside() []string {
	var words []string
	for _, w := range s.Words {
		if w.XMin < sideMargin-slack || w.XMax > s.Width-sideMargin+slack || w.YMax > s.Height {
			words = append(words, fmt.Sprintf("%s (%.1f to %.1f of %.1f)", w.Text, w.XMin, w.XMax, s.Width))
		}
	}
	return words
}

// headlinePoints is the height of a word of the headline on paper: 17 pt of
// Liberation Sans or Arial, whose ascent and descent are 1.117 of the size.
const headlinePoints = 17 * 1.117

// shrunk says how far the browser has shrunk the pages, as it does before it cuts
// off what is too wide for the paper: 1 for not at all.
func shrunk(sheets []sheet) float64 {
	for _, w := range sheets[0].Words {
		if w.Text == "Hand-over" && w.YMin > 40 { // above that is the running title
			return (w.YMax - w.YMin) / headlinePoints
		}
	}
	return 0
}

// printPage prints a page on a size of paper, as a printer set to it would.
func printPage(t *testing.T, html string, p paper) []sheet {
	t.Helper()
	sized := strings.Replace(html, "</style>", "@page { size: "+p.name+"; }</style>", 1)
	if sized == html {
		t.Fatal("the page has no style")
	}
	pdf := filepath.Join(t.TempDir(), "page.pdf")
	chromium(t, "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+file(t, sized))
	out, err := exec.Command(program(t, "pdftotext", "poppler-utils"), "-bbox", pdf, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext: %v", err)
	}
	var document struct {
		Sheets []sheet `xml:"body>doc>page"`
	}
	d := xml.NewDecoder(bytes.NewReader(out))
	d.Entity, d.Strict = xml.HTMLEntity, false
	if err := d.Decode(&document); err != nil {
		t.Fatalf("the words of the PDF can't be read: %v", err)
	}
	return document.Sheets
}

// longWinded is an unfinished tower with everything as long as it may be, and a
// joint whose records fill several sheets.
func longWinded(t *testing.T) *HandoverDocument {
	s := &scenario{t: t}
	h := unfinished(t)
	w := strings.Repeat("W", 16)
	place := w + "/" + w + "/" + w + "/" + strings.Repeat("W", 32)
	records := []Record{}
	for range 60 {
		r := s.tightening("2026-03-02 09:10", strings.Repeat("w", 32), 12, ptr(16.27), "12 lbf.ft")
		r.Tightening.Lot, r.Tightening.Tool, r.Note = Text(strings.Repeat("L", 64)), Text(strings.Repeat("T", 64)), Text(strings.Repeat("n", 200))
		records = append(records, r)
	}
	records[0].Note = Text(strings.Repeat("n", 2000))
	h.Joints = append(h.Joints, s.joint(place, "accepted", records...))
	h.Missing = append(h.Missing, Missing{place, strings.Repeat("x", 500)})
	h.Lots[0].Number, h.Tools[0].Serial = strings.Repeat("L", 64), strings.Repeat("T", 64)
	h.People = append(h.People, Text(strings.Repeat("w", 32)))
	return h
}

func TestPrintedPage(t *testing.T) {
	for _, p := range papers {
		for name, tc := range map[string]struct {
			h           *HandoverDocument
			least, most int
		}{
			"unfinished":  {unfinished(t), 4, 10},
			"finished":    {finished(t, 40), 12, 32},
			"long-winded": {longWinded(t), 12, 60},
		} {
			t.Run(p.name+"/"+name, func(t *testing.T) {
				html := pageOf(t, tc.h)
				sheets := printPage(t, html, p)
				if len(sheets) < tc.least || len(sheets) > tc.most {
					t.Errorf("%d sheets; expected %d to %d", len(sheets), tc.least, tc.most)
				}
				if scale := shrunk(sheets); math.Abs(scale-1) > 0.01 {
					t.Errorf("the page is too wide for the paper: printed at %.3f of its size", scale)
				}
				for i, s := range sheets {
					if math.Abs(s.Width-p.width) > 1.5 || math.Abs(s.Height-p.height) > 1.5 {
						t.Errorf("sheet %d is %g by %g points", i+1, s.Width, s.Height)
					}
					if out := s.outside(); len(out) > 0 {
						t.Errorf("sheet %d: beyond the margins: %q", i+1, out)
					}
					checkSheet(t, tc.h, s.text(), i+1, len(sheets))
				}
				checkText(t, tc.h, sheets)
			})
		}
	}
}

// checkSheet looks at one sheet: it says what it is part of and which it is, and no
// row is split over two.
func checkSheet(t *testing.T, h *HandoverDocument, text string, number, of int) {
	t.Helper()
	for _, want := range []string{fmt.Sprintf("Page %d of %d", number, of), "Hand-over record " + h.Place + ": " + short(h)} {
		if !strings.Contains(text, want) {
			t.Errorf("sheet %d lacks %q", number, want)
		}
	}
	if begun, ended := strings.Count(text, "typed as “12"), strings.Count(text, "Under specification SS-M8-SEAM revision 2."); begun > ended {
		t.Errorf("sheet %d: %d tightenings begin and only %d end there", number, begun, ended)
	}
}

// checkText looks at the whole: every joint is there, and what is missing comes
// before them.
func checkText(t *testing.T, h *HandoverDocument, sheets []sheet) {
	t.Helper()
	var all []string
	for _, s := range sheets {
		all = append(all, s.text())
	}
	text := strings.Join(all, " ")
	// A name that is too long for a line is broken there.
	solid := strings.ReplaceAll(text, " ", "")
	first := strings.Index(text, "Fastener lots used")
	if verdict := strings.Index(text, verdict(h)); verdict < 0 || verdict > first {
		t.Errorf("the verdict stands at %d, the lots at %d", verdict, first)
	}
	for _, m := range h.Missing {
		i := strings.Index(solid, strings.ReplaceAll(m.Short(), " ", ""))
		if i < 0 || i > strings.Index(solid, "Fastenerlotsused") {
			t.Errorf("%q stands at %d of %d", m.Short(), i, len(solid))
		}
	}
	for _, j := range h.Joints {
		if !strings.Contains(solid, j.Place) {
			t.Errorf("no joint %s", j.Place)
		}
	}
	for _, want := range []string{"come before anything that is written here", "ISO 6789-1:2017", "Brackley Metrology", "trackerd verify", h.Chain.Link[:40]} {
		if !strings.Contains(text, want) {
			t.Errorf("the text lacks %q", want)
		}
	}
}

// The heads of a table run on: a joint that fills several sheets is named on each
// of them, with the columns' headings.
func TestHeadsRunOn(t *testing.T) {
	h := longWinded(t)
	long := h.Joints[len(h.Joints)-1].Place
	sheets := printPage(t, pageOf(t, h), papers[0])
	spanned := 0
	for i, s := range sheets {
		text := s.text()
		if !strings.Contains(strings.ReplaceAll(text, " ", ""), "tool"+strings.Repeat("T", 64)+";drivenby") {
			continue
		}
		spanned++
		if !strings.Contains(strings.ReplaceAll(text, " ", ""), long) || !strings.Contains(text, "Particulars") {
			t.Errorf("sheet %d continues %s and does not say so", i+1, long)
		}
	}
	if spanned < 3 {
		t.Errorf("the records fill %d sheets; too few to see a head run on", spanned)
	}
}

// What finds words beyond the margins finds them: a page that is too wide is seen.
func TestOverflowIsSeen(t *testing.T) {
	html := strings.Replace(pageOf(t, finished(t, 1)), "<body>", `<body><p style="position:absolute;left:150mm;white-space:nowrap">`+strings.Repeat("wide ", 40)+"</p>", 1)
	sheets := printPage(t, html, papers[0])
	for _, s := range sheets {
		if len(s.outside()) > 0 {
			return
		}
	}
	if shrunk(sheets) < 0.99 {
		return
	}
	t.Error("a line far beyond the paper was not noticed")
}

// On a screen the page is black and grey on white, and no wider than the window.
func TestScreen(t *testing.T) {
	const width, height = 900, 1200
	shot := filepath.Join(t.TempDir(), "page.png")
	chromium(t, fmt.Sprintf("--window-size=%d,%d", width, height), "--screenshot="+shot, "file://"+file(t, pageOf(t, unfinished(t))))
	f, err := os.Open(shot)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close() // only read
	picture, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	if b := picture.Bounds(); b.Dx() != width || b.Dy() != height {
		t.Fatalf("the picture is %v", b)
	}
	dark, white := 0, 0
	for y := range height {
		for x := range width {
			r, g, b, _ := picture.At(x, y).RGBA()
			if max(r, g, b)-min(r, g, b) > 0x1000 {
				t.Fatalf("colour at %d, %d: %x %x %x", x, y, r, g, b)
			}
			switch {
			case r < 0x4000:
				dark++
			case r > 0xf000:
				white++
			}
		}
	}
	if share := float64(dark) / (width * height); share < 0.01 || share > 0.3 {
		t.Errorf("%.3f of the picture is dark", share)
	}
	if share := float64(white) / (width * height); share < 0.6 {
		t.Errorf("%.3f of the picture is white", share)
	}
}

// The page asks for nothing outside of itself, so that what the browser would show
// is all there: its policy forbids the rest.
func TestPolicyForbidsTheRest(t *testing.T) {
	if !strings.Contains(pageOf(t, finished(t, 1)), `<meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'">`) {
		t.Error("no policy")
	}
}
