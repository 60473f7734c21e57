package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"text/tabwriter"
	"time"

	"jointledger/internal/cli/output"
)

// reckoning is the answer of a calculator: its figures, and what belongs to them.
type reckoning struct {
	figures []reckonedFigure
	lists   []reckonedList
	// formula says how the figures were computed; sources where its constants and
	// table values come from.
	formula []string
	sources []string
	// remarks are assumptions and what a table says beside its value.
	remarks []string
	// cautions are what the figures do not prove; governs whose word goes before
	// them.
	cautions, governs []string
}

// reckonedFigure is one figure of an answer.
type reckonedFigure struct {
	// name is the key in JSON, with the unit; a figure without one is for people.
	name string
	// label is what a person reads before it; one without is for programs.
	label string
	// value is a string, bool, int64, int, float64, time.Time or []string; nil for
	// not given.
	value any
	// text is what a person reads, where that is not simply the value.
	text string
}

// reckonedList is a list within an answer.
type reckonedList struct {
	// name is its key in JSON; a list without one is for people.
	name    string
	columns []listColumn
	rows    [][]any
	// hidden keeps it from people, who are shown the same otherwise.
	hidden bool
}

type listColumn struct {
	name, heading string
	text          func(any) string
}

// add adds a figure that both people and programs read.
func (r *reckoning) add(name, label string, value any, text string) {
	r.figures = append(r.figures, reckonedFigure{name, label, value, text})
}

// keep adds a figure that only programs read.
func (r *reckoning) keep(name string, value any) { r.add(name, "", value, "") }

// tell writes the answer.
func (r *reckoning) tell(c output.Config) error {
	switch c.Format {
	case output.JSON:
		return r.tellJSON(c)
	case output.CSV:
		return r.tellCSV(c)
	case output.Parquet:
		return usage("--output: a reckoning is one answer and no list; expected table, json or csv")
	default: // the others go on below
	}
	return r.tellPerson(c)
}

// notes are the lines under the figures.
func (r *reckoning) notes() []string {
	var lines []string
	for _, part := range []struct {
		label string
		texts []string
	}{{"formula: ", r.formula}, {"source: ", r.sources}, {"note: ", r.remarks}, {"caution: ", r.cautions}, {"what governs: ", r.governs}} {
		for _, t := range part.texts {
			lines = append(lines, part.label+t)
		}
	}
	return lines
}

func (r *reckoning) tellPerson(c output.Config) error {
	tab := tabwriter.NewWriter(c.Out, 0, 8, 2, ' ', 0)
	for _, f := range r.figures {
		text := f.shown()
		if f.label == "" || text == "" {
			continue
		}
		if _, err := fmt.Fprintf(tab, "%s\t%s\n", f.label, output.Printable(text)); err != nil {
			return err
		}
	}
	if err := tab.Flush(); err != nil {
		return err
	}
	for i, l := range r.lists {
		if l.hidden || len(l.rows) == 0 {
			continue
		}
		if i > 0 || len(r.figures) > 0 {
			if _, err := fmt.Fprintln(c.Out); err != nil {
				return err
			}
		}
		if err := l.tell(c); err != nil {
			return err
		}
	}
	for i, line := range r.notes() {
		if i == 0 {
			line = "\n" + output.Wrap(output.Printable(line))
		} else {
			line = output.Wrap(output.Printable(line))
		}
		if _, err := fmt.Fprintln(c.Out, line); err != nil {
			return err
		}
	}
	return nil
}

// shown is what a person reads of a figure.
func (f reckonedFigure) shown() string {
	if f.text != "" {
		return f.text
	}
	switch v := f.value.(type) {
	case nil:
		return ""
	case float64:
		return output.Number(v)
	case bool:
		if v {
			return "yes"
		}
		return "no"
	}
	return fmt.Sprint(f.value)
}

// tell writes the list as a table or as CSV.
func (l reckonedList) tell(c output.Config) error {
	columns := make([]output.Column[[]any], len(l.columns))
	for i, col := range l.columns {
		columns[i] = output.Column[[]any]{Name: col.name, Heading: col.heading, Value: func(row []any) any { return row[i] }}
		if col.text != nil {
			columns[i].Text = func(row []any) string { return col.text(row[i]) }
		}
	}
	w, err := output.New(c, l.name, columns)
	if err != nil {
		return err
	}
	for _, row := range l.rows {
		if err := w.Row(row); err != nil {
			return err
		}
	}
	return w.Close()
}

// tellCSV writes the first list that programs read or, without one, the figures
// as one line; what else there is goes to the side.
func (r *reckoning) tellCSV(c output.Config) error {
	var aside []string
	list := reckonedList{rows: [][]any{nil}}
	for _, f := range r.figures {
		if f.name != "" {
			list.columns = append(list.columns, listColumn{name: f.name})
			list.rows[0] = append(list.rows[0], f.value)
		}
	}
	for _, l := range r.lists {
		if l.name != "" {
			list = l
			for _, f := range r.figures {
				if f.label != "" {
					aside = append(aside, f.label+": "+f.shown())
				}
			}
			break
		}
	}
	if err := list.tell(c); err != nil {
		return err
	}
	for _, line := range append(aside, r.notes()...) {
		if _, err := fmt.Fprintln(c.Err, output.Wrap(output.Printable(line))); err != nil {
			return err
		}
	}
	return nil
}

// tellJSON writes one object: the figures under their names, then the lists, then
// formula, sources, notes and cautions.
func (r *reckoning) tellJSON(c output.Config) error {
	o := &jsonObject{}
	for _, f := range r.figures {
		if f.name != "" {
			o.member(f.name, f.value)
		}
	}
	for _, l := range r.lists {
		if l.name != "" {
			o.member(l.name, l)
		}
	}
	for _, part := range []struct {
		name  string
		texts []string
	}{{"formulas", r.formula}, {"sources", r.sources}, {"notes", r.remarks}, {"cautions", r.cautions}, {"governed_by", r.governs}} {
		if part.texts == nil {
			part.texts = []string{}
		}
		o.member(part.name, part.texts)
	}
	return o.write(c)
}

// jsonObject is an object whose members keep their order, each on a line.
type jsonObject struct {
	body bytes.Buffer
	err  error
}

func (o *jsonObject) member(name string, value any) {
	if o.err != nil {
		return
	}
	if o.body.Len() > 0 {
		o.body.WriteString(",\n")
	}
	fmt.Fprintf(&o.body, "  %q: ", name)
	o.err = writeMember(&o.body, value)
}

func writeMember(b *bytes.Buffer, value any) error {
	switch v := value.(type) {
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			b.WriteString("null")
			return nil
		}
	case time.Time:
		value = v.Format(time.RFC3339Nano)
	case reckonedList:
		return v.writeJSON(b)
	}
	encoder := json.NewEncoder(b)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(value); err != nil {
		return err
	}
	b.Truncate(b.Len() - 1) // the encoder ends with a line break
	return nil
}

func (l reckonedList) writeJSON(b *bytes.Buffer) error {
	b.WriteByte('[')
	for i, row := range l.rows {
		if i > 0 {
			b.WriteByte(',')
		}
		b.WriteString("\n    {")
		first := true
		for j, col := range l.columns {
			if col.name == "" {
				continue
			}
			if !first {
				b.WriteString(", ")
			}
			first = false
			fmt.Fprintf(b, "%q: ", col.name)
			if err := writeMember(b, row[j]); err != nil {
				return err
			}
		}
		b.WriteByte('}')
	}
	if len(l.rows) > 0 {
		b.WriteString("\n  ")
	}
	b.WriteByte(']')
	return nil
}

func (o *jsonObject) write(c output.Config) error {
	if o.err != nil {
		return o.err
	}
	_, err := fmt.Fprintf(c.Out, "{\n%s\n}\n", o.body.Bytes())
	return err
}
