package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"sync"
	"time"
)

// WorkSheet is the form of the joints that are left at a place: what each needs, and
// boxes for what was done.
type WorkSheet struct {
	// Place is what the form is of; Units is the preference of its site.
	Place, Units string
	// AsOf is the moment of the data, Source where they come from.
	AsOf   time.Time
	Source string
	// Paper is `A4` or `letter`; empty for whatever the printer has.
	Paper string
	// Specifications are those that the joints name, each in force at AsOf.
	Specifications []Specification
	// Joints are in the order in which one walks from cell to cell.
	Joints   []SheetJoint
	Cautions []string
}

// SheetJoint is one joint that is left.
type SheetJoint struct {
	// Cell and Name are the place; Code is the short code with its check character and
	// Symbol its drawing.
	Cell, Name, Code string
	Symbol           template.HTML
	Kind             string
	Critical         bool
	PartA, PartB     string
	Specification    string
	// Fasteners is how many it has and Left how many of them were not tightened yet.
	Fasteners, Left int
	// SealDue says that its specification wants a sealant that is not in yet.
	SealDue bool
	// Holds say why it is on hold; none when it is not.
	Holds []string
}

//go:embed work_sheet.html.tmpl
var workSheetText string

var workSheetTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("work sheet").Parse(workSheetText))
})

// WorkSheetPage writes the form as a page that needs nothing from elsewhere and prints
// on A4 and on US letter; no joint is cut by the end of a sheet. It fails only when the
// writer does.
func WorkSheetPage(w io.Writer, s WorkSheet) error {
	var b bytes.Buffer
	if err := workSheetTemplate().Execute(&b, newSheetView(s)); err != nil {
		return err
	}
	_, err := w.Write(bytes.Map(printed, b.Bytes()))
	return err
}

// sheetView is the form as the template lays it out: every value a text.
type sheetView struct {
	Place, AsOf   string
	Size          template.CSS
	Running, Foot template.CSS
	Cautions      []string
	Cells         []sheetCell
	Specs         []specificationRow
	Left          string
}

type sheetCell struct {
	Name   string
	Joints []sheetRow
}

type sheetRow struct {
	Name             string
	Code, Symbol     template.HTML
	What             string
	Fastener, Torque string
	Threads, Seal    string
	Left             string
	SealDue, Bolts   bool
	Holds            []string
}

func newSheetView(s WorkSheet) sheetView {
	v := &view{units: unitsOf(s.Units), specs: map[string]Specification{}, h: &HandoverDocument{Specifications: s.Specifications}}
	rows := map[string]specificationRow{}
	for i, row := range v.specifications() {
		v.specs[s.Specifications[i].Code], rows[s.Specifications[i].Code] = s.Specifications[i], row
	}
	page := sheetView{
		Place: s.Place, AsOf: s.AsOf.Format("2006-01-02 15:04 MST") + ", " + s.Source, Cautions: s.Cautions,
		Running: quoted("Work sheet: " + s.Place), Foot: quoted("Data of " + s.AsOf.Format("2006-01-02 15:04 MST")),
		Left: counted(len(s.Joints), "joint"),
	}
	if s.Paper != "" {
		page.Size = template.CSS("size: " + s.Paper + ";")
	}
	for _, j := range s.Joints {
		if n := len(page.Cells); n == 0 || page.Cells[n-1].Name != j.Cell {
			page.Cells = append(page.Cells, sheetCell{Name: j.Cell})
		}
		c := &page.Cells[len(page.Cells)-1]
		c.Joints = append(c.Joints, sheetRowOf(j, rows[j.Specification]))
	}
	return page
}

func sheetRowOf(j SheetJoint, spec specificationRow) sheetRow {
	critical := ""
	if j.Critical {
		critical = "critical"
	}
	row := sheetRow{
		// The template would write the plus sign of a code as a reference, which a search
		// in the page's text would not find.
		Code: template.HTML(template.HTMLEscapeString(j.Code)), Name: j.Name, Symbol: j.Symbol,
		What:     joined("; ", joined(", ", j.Kind, critical, "specification "+spec.Name), joined(" to ", j.PartA, j.PartB)),
		Fastener: spec.Fastener, Torque: spec.Window, Threads: spec.Threads,
		SealDue: j.SealDue, Bolts: j.Left > 0, Holds: j.Holds,
	}
	if j.SealDue {
		row.Seal = spec.Seal
	}
	row.Left = fmt.Sprintf("%d of %s to tighten", j.Left, counted(j.Fasteners, "fastener"))
	if j.Left == 0 {
		row.Left = "all fasteners tightened; the seal is missing"
	}
	return row
}
