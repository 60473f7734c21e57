package report

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"regexp"
	"strings"
	"sync"
	"unicode"

	"jointledger/internal/report/figure"
)

//go:embed quality.html.tmpl
var qualityPage string

var qualityTemplate = sync.OnceValue(func() *template.Template {
	return template.Must(template.New("quality").Funcs(template.FuncMap{"days": unbrokenDays}).Parse(qualityPage))
})

var writtenDay = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`\b\d{4}-\d{2}-\d{2}\b`) })

// unbrokenDays keeps the days in a sentence from being broken at a hyphen. The text is
// escaped first; a day has nothing to escape.
func unbrokenDays(text string) template.HTML {
	return template.HTML(writtenDay().ReplaceAllString(template.HTMLEscapeString(text), `<span class="day">$0</span>`))
}

// Quality writes the document as one HTML page that needs nothing else: no script, no
// font, no picture from elsewhere; its figures are SVG. It prints on A4 and US letter.
// It fails with a *figure.FieldError for a document that is not valid, and when the
// writer does.
func Quality(w io.Writer, d *QualityDocument) error {
	if err := d.Validate(); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := qualityTemplate().Execute(&b, newQualityView(d)); err != nil {
		return err
	}
	_, err := w.Write(bytes.Map(printed, b.Bytes()))
	return err
}

// QualityJSON writes the whole document as one JSON object with the names of
// QualityDocument and full precision, rows that the page has no room for included. It
// fails with a *figure.FieldError for a document that is not valid, and when the writer
// does.
func QualityJSON(w io.Writer, d *QualityDocument) error {
	if err := d.Validate(); err != nil {
		return err
	}
	e := json.NewEncoder(w)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	return e.Encode(d)
}

// qualityView is the document as the template lays it out: every value a text.
type qualityView struct {
	Title string
	// Running and Foot stand at the head and foot of each sheet.
	Running, Foot template.CSS
	Facts         []fact
	Actions       []actionView
	NoAction      string
	OrdersDiffer  string
	Groups        []figureGroup
	Notes         []figureNote
	LeftOut       []LeftOut
	Cautions      []string
	Chains        []chainRow
}

// chainRow is the head of one site's chain.
type chainRow struct{ Site, Records, Link string }

func chainRows(chains []SiteChain) []chainRow {
	rows := make([]chainRow, len(chains))
	for i, c := range chains {
		rows[i] = chainRow{c.Site, figure.Count(c.Sequence), c.Link}
	}
	return rows
}

type actionView struct {
	Before, Name, After string
	Figure              int // its number; 0 for none
}

// figureGroup is the figures under one heading.
type figureGroup struct {
	Heading string
	Figures []figureView
}

type figureView struct {
	Number         int
	ID, Name       string
	Finding        string
	Picture        template.HTML
	Table          tableView
	FirstUnderHead bool
}

type tableView struct {
	Head []tableField
	Rows [][]tableField
	More string
}

type tableField struct {
	Text    string
	Numeric bool
}

// figureNote is the small print of a figure.
type figureNote struct {
	Number             int
	ID, Name           string
	Method, Assumption string
	Cautions, LeftOut  []string
}

func newQualityView(d *QualityDocument) *qualityView {
	v := &qualityView{
		Title: "Quality report: " + d.Scope, Foot: quoted("Data as of " + moment(d.DataAsOf)),
		OrdersDiffer: string(d.OrdersDiffer), Cautions: d.Cautions, LeftOut: d.LeftOut, Chains: chainRows(d.Chains),
		NoAction: "Nothing on record since " + string(d.Since) + " calls for action by itself. The figures say how far that can be relied on.",
	}
	v.Running = quoted(v.Title)
	v.Facts = []fact{{"Data as of", moment(d.DataAsOf)}, {"Counted since", string(d.Since)}}
	if d.PreparedBy != "" {
		v.Facts = append(v.Facts, fact{"Prepared by", string(d.PreparedBy)})
	}
	v.Facts = append(v.Facts, fact{"Made by", d.Program})
	numbers := map[Part]int{}
	for i, f := range d.Figures() {
		number := i + 1
		if numbers[f.Part] == 0 {
			numbers[f.Part] = number
		}
		v.add(number, f)
	}
	for _, a := range d.Actions {
		before, after, _ := strings.Cut(a.Sentence, a.Name)
		v.Actions = append(v.Actions, actionView{before, a.Name, after, numbers[a.Part]})
	}
	return v
}

// add puts a figure under its heading and its words into the small print.
func (v *qualityView) add(number int, f PlacedFigure) {
	if n := len(v.Groups); n == 0 || v.Groups[n-1].Heading != headings[f.Part] {
		v.Groups = append(v.Groups, figureGroup{Heading: headings[f.Part]})
	}
	g := &v.Groups[len(v.Groups)-1]
	id, words := fmt.Sprintf("figure-%d", number), f.Figure.Words()
	g.Figures = append(g.Figures, figureView{
		Number: number, ID: id, Name: f.Figure.Name(), Finding: words.Finding,
		// The picture escapes every text that it is given.
		Picture: template.HTML(f.Figure.SVG(id)), Table: newTableView(f.Figure.Table()),
		FirstUnderHead: len(g.Figures) == 0,
	})
	v.Notes = append(v.Notes, figureNote{number, id, f.Figure.Name(), words.Method, words.Assumption, words.Cautions, words.LeftOut})
}

func newTableView(t figure.Table) tableView {
	row := func(texts []string) []tableField {
		cells := make([]tableField, len(texts))
		for i, s := range texts {
			cells[i] = tableField{s, i >= t.TextColumns}
		}
		return cells
	}
	v := tableView{Head: row(t.Head), More: t.More}
	for _, r := range t.Rows {
		v.Rows = append(v.Rows, row(r))
	}
	return v
}

// quoted writes a text as a string of a style sheet, shortened to what stands in one
// line. Everything but letters, digits and spaces is written by its number, so that no
// name ends the string or the sheet.
func quoted(text string) template.CSS {
	runes := []rune(strings.Map(printed, text))
	if len(runes) > 80 {
		runes = append(runes[:79], '…')
	}
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range runes {
		if r == ' ' || r < 0x80 && (unicode.IsLetter(r) || unicode.IsDigit(r)) {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, `\%06x `, r) // the space ends the number and is not shown
		}
	}
	b.WriteByte('"')
	return template.CSS(b.String()) //nolint:gosec // nothing in it can end the string
}
