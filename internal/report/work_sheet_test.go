package report

import (
	"bytes"
	"fmt"
	"html/template"
	"math"
	"strings"
	"testing"
	"time"
)

// longSheet is a form with more joints than one sheet holds, and the longest words that
// may stand on it.
func longSheet() WorkSheet {
	seven := 25.4
	s := WorkSheet{
		Place: "RVB/CT2", Units: "us-customary", AsOf: time.Date(2026, 3, 16, 6, 0, 0, 0, time.UTC), Source: "as this device carries it",
		Specifications: []Specification{
			{Code: "SS-M10", Revision: 3, Fastener: Fastener{Thread: "M10", Material: "316", PropertyClass: "A4-70", Coating: "plain", Head: "hex"},
				Treatment: "anti-seize", Locking: "none", TorqueNM: 32, TolerancePct: 10, LowNM: 28.8, HighNM: 35.2, Basis: "lubricated", TorqueToolRequired: true},
			{Code: "SEAM", Revision: 1, Fastener: Fastener{Thread: "M8", Material: "304"}, Treatment: "none", Locking: "none", TorqueNM: 12, TolerancePct: 20, LowNM: 9.6, HighNM: 14.4,
				Basis: "dry", Sealant: "strip", SealWidthMM: &seven},
		},
		Cautions: Cautions()[:2],
	}
	for c := 1; c <= 2; c++ {
		for i := 1; i <= 9; i++ {
			j := SheetJoint{Cell: fmt.Sprintf("RVB/CT2/C%d", c), Name: fmt.Sprintf("J%03d", i), Code: fmt.Sprintf("RVB/CT2/C%d/J%03d+7", c, i),
				Symbol: template.HTML(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"><rect width="1" height="1"/></svg>`),
				Kind:   "structural", Critical: i%2 == 0, PartA: "beam B-12 of the third level", PartB: "column with a name that is longer than anybody would write on a drawing",
				Specification: "SS-M10", Fasteners: 24, Left: i}
			if i%3 == 0 {
				j.Specification, j.SealDue, j.Kind = "SEAM", true, "sheet-metal-seam"
			}
			if i == 5 {
				j.Holds = []string{"seal-cold: the surface was colder than the sealant bears"}
			}
			s.Joints = append(s.Joints, j)
		}
	}
	return s
}

func pageOfSheet(t *testing.T, s WorkSheet) string {
	t.Helper()
	var b bytes.Buffer
	if err := WorkSheetPage(&b, s); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestPrintedWorkSheet(t *testing.T) {
	for _, p := range papers {
		t.Run(p.name, func(t *testing.T) {
			s := longSheet()
			sheets := printPage(t, pageOfSheet(t, s), p)
			if len(sheets) < 4 || len(sheets) > 12 {
				t.Errorf("%d sheets for %d joints", len(sheets), len(s.Joints))
			}
			for i, printed := range sheets {
				if math.Abs(printed.Width-p.width) > 1.5 || math.Abs(printed.Height-p.height) > 1.5 {
					t.Errorf("sheet %d is %g by %g points", i+1, printed.Width, printed.Height)
				}
				if out := printed.outside(); len(out) > 0 {
					t.Errorf("sheet %d: beyond the margins: %q", i+1, out)
				}
				if over := printed.overlaps(); len(over) > 0 {
					t.Errorf("sheet %d: %q", i+1, over)
				}
				if want := fmt.Sprintf("Page %d of %d", i+1, len(sheets)); !strings.Contains(printed.text(), want) {
					t.Errorf("sheet %d lacks %q", i+1, want)
				}
			}
			for _, j := range s.Joints {
				checkJointWhole(t, j, sheets)
			}
		})
	}
}

// checkJointWhole looks for a joint whole on one sheet: its code and, below it and
// before the next one's, each of its boxes.
func checkJointWhole(t *testing.T, j SheetJoint, sheets []sheet) {
	t.Helper()
	for _, printed := range sheets {
		_, after, found := strings.Cut(printed.text(), j.Code)
		if !found {
			continue
		}
		if next := strings.Index(after, "+7"); next > 0 {
			after = after[:next]
		}
		for _, want := range []string{fmt.Sprintf("%d of 24 fasteners to tighten", j.Left), "Fasteners at torque", "Torque set", "What went wrong"} {
			if !strings.Contains(after, want) {
				t.Errorf("%s stands on a sheet without %q", j.Code, want)
			}
		}
		if j.SealDue != strings.Contains(after, "Seal first") {
			t.Errorf("%s: a seal is due: %v; the sheet says otherwise", j.Code, j.SealDue)
		}
		if (len(j.Holds) > 0) != strings.Contains(after, "ON HOLD, do not work on it: seal-cold") {
			t.Errorf("%s: holds %q; the sheet says otherwise", j.Code, j.Holds)
		}
		return
	}
	t.Errorf("no sheet has %s", j.Code)
}

// Torque stands in the units that the site prefers with the others beside them: 32 N.m
// within 10 % is 28.8 to 35.2 N.m, and 1 lbf.ft = 1.3558179483314004 N.m (NIST SP 811,
// 2008, appendix B.8), so 21.24 to 25.96 lbf.ft.
func TestWorkSheetSaysTheWindow(t *testing.T) {
	html := strings.ReplaceAll(pageOfSheet(t, longSheet()), "\u00a0", " ")
	for _, want := range []string{"21.24 to 25.96 lbf·ft (28.8 to 35.2 N·m)", "treatment anti-seize", "final torque with a torque tool", "strip, 1 in (25.4 mm) wide"} {
		if !strings.Contains(html, want) {
			t.Errorf("the sheet lacks %q", want)
		}
	}
}

func TestWorkSheetSizesAndEscapes(t *testing.T) {
	s := longSheet()
	s.Paper, s.Joints = "letter", s.Joints[:1]
	s.Joints[0].PartA = `<script>"&`
	html := pageOfSheet(t, s)
	if !strings.Contains(html, "size: letter;") || strings.Contains(html, "<script>") {
		t.Error("the paper is not named, or a name is not escaped")
	}
	s.Joints = nil
	if html := pageOfSheet(t, s); !strings.Contains(html, "Nothing is left") {
		t.Error("an empty sheet does not say that it is")
	}
}
