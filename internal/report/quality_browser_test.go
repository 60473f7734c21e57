package report

import (
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"
)

// overlaps are words that stand over one another. A box is that of the whole line, so
// that its upper and lower quarter are left out.
func (s sheet) overlaps() []string {
	var found []string
	for i, a := range s.Words {
		for _, b := range s.Words[:i] {
			ha, hb := (a.YMax-a.YMin)/4, (b.YMax-b.YMin)/4
			if a.XMin < b.XMax-slack && b.XMin < a.XMax-slack && a.YMin+ha < b.YMax-hb && b.YMin+hb < a.YMax-ha {
				found = append(found, fmt.Sprintf("%s over %s at %.0f, %.0f", a.Text, b.Text, a.XMin, a.YMin))
			}
		}
	}
	return found
}

// solid is the text of a sheet without spaces: where lines break is the browser's.
func (s sheet) solid() string { return strings.ReplaceAll(s.text(), " ", "") }

func TestPrintedQualityPage(t *testing.T) {
	for _, p := range papers {
		for name, c := range map[string]struct {
			d           *QualityDocument
			least, most int
		}{
			"region":  {regionGulf(t), 4, 7},
			"quiet":   {quietSite(), 1, 1},
			"crowded": {crowded(), 9, 14},
		} {
			if name == "crowded" && p.name == "A4" {
				continue // slow to print, and the shorter sheet is the harder one
			}
			t.Run(p.name+"/"+name, func(t *testing.T) {
				sheets := printPage(t, qualityPageOf(t, c.d), p)
				if len(sheets) < c.least || len(sheets) > c.most {
					t.Errorf("%d sheets; expected %d to %d", len(sheets), c.least, c.most)
				}
				for i, s := range sheets {
					if math.Abs(s.Width-p.width) > 1.5 || math.Abs(s.Height-p.height) > 1.5 {
						t.Errorf("sheet %d is %g by %g points", i+1, s.Width, s.Height)
					}
					if out := s.outside(); len(out) > 0 {
						t.Errorf("sheet %d: beyond the margins: %q", i+1, out)
					}
					if over := s.overlaps(); len(over) > 0 {
						t.Errorf("sheet %d: %q", i+1, over)
					}
					for _, want := range []string{fmt.Sprintf("Page %d of %d", i+1, len(sheets)), "Quality report: " + c.d.Scope[:6], "Data as of 2026-03-16 06:00 UTC"} {
						if !strings.Contains(s.text(), want) {
							t.Errorf("sheet %d lacks %q", i+1, want)
						}
					}
				}
				checkWhole(t, c.d, sheets)
			})
		}
	}
}

var pictureText = regexp.MustCompile(`<text[^>]*>([^<]+)</text>`)

// checkWhole looks for each figure whole on one sheet: its number, its finding and all
// words of its picture. Words that are not ASCII may be laid out in another order.
func checkWhole(t *testing.T, d *QualityDocument, sheets []sheet) {
	t.Helper()
	for i, f := range d.Figures() {
		heading := strings.ReplaceAll(fmt.Sprintf("Figure %d. %s. How", i+1, f.Figure.Name()), " ", "")
		if strings.ContainsFunc(heading, func(r rune) bool { return r > 0x24f && r != '′' }) {
			heading = fmt.Sprintf("Figure%d.", i+1)
		}
		on := -1
		for k, s := range sheets {
			if strings.Contains(s.solid(), heading) && on < 0 {
				on = k
			}
		}
		if on < 0 {
			t.Errorf("no sheet has %q", heading)
			continue
		}
		text := sheets[on].solid()
		for _, m := range pictureText.FindAllStringSubmatch(f.Figure.SVG("f"), -1) {
			if strings.ContainsAny(m[1], "&…") || strings.ContainsFunc(m[1], func(r rune) bool { return r > 0x24f }) {
				continue
			}
			if !strings.Contains(text, strings.ReplaceAll(m[1], " ", "")) {
				t.Errorf("figure %d begins on sheet %d; %q is not there", i+1, on+1, m[1])
			}
		}
	}
}

// What finds words over words finds them.
func TestOverlapIsSeen(t *testing.T) {
	html := strings.Replace(qualityPageOf(t, quietSite()), "<body>", `<body><p style="position:absolute;left:20mm;top:20mm">one</p><p style="position:absolute;left:21mm;top:20.5mm">two</p>`, 1)
	for _, s := range printPage(t, html, papers[0]) {
		if len(s.overlaps()) > 0 {
			return
		}
	}
	t.Error("words over words were not noticed")
}
