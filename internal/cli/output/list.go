package output

import (
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"unicode/utf8"
)

// Writer writes one list. Rows go out as they come, but those of a table, which
// needs all of them to know how wide its columns are.
type Writer[T any] interface {
	Row(T) error
	// Close ends the list. The notes are what belongs to the answer besides its
	// rows: JSON has them as members, a table shows their text below.
	Close(notes ...Note) error
}

// Note is something that an answer says besides its rows.
type Note struct {
	// Key and Value are its member in JSON; without a key it stands in no JSON.
	Key   string
	Value any
	// Text are the lines that a person reads; none when the note is for programs.
	Text []string
}

// Config says where and how to write.
type Config struct {
	Format Format
	Out    io.Writer
	// Err takes what must not stand in the answer itself: that a list is empty, and
	// the notes of CSV.
	Err io.Writer
}

// New begins a list with the given plural key.
func New[T any](c Config, key string, columns []Column[T]) (Writer[T], error) {
	named := withName(columns)
	switch c.Format {
	case JSON:
		return newJSONWriter(c.Out, key, named), nil
	case CSV:
		w := &csvWriter[T]{config: c, columns: named, csv: csv.NewWriter(c.Out)}
		return w, w.heading()
	case Parquet:
		return &parquetWriter[T]{config: c, columns: named}, nil
	default:
		return newTableWriter(c, key, columns), nil
	}
}

func withName[T any](columns []Column[T]) []Column[T] {
	var named []Column[T]
	for _, col := range columns {
		if col.Name != "" {
			named = append(named, col)
		}
	}
	return named
}

type tableWriter[T any] struct {
	config  Config
	key     string
	columns []Column[T]
	tab     *tabwriter.Writer
	rows    int
}

func newTableWriter[T any](c Config, key string, columns []Column[T]) *tableWriter[T] {
	w := &tableWriter[T]{config: c, key: key, tab: newTab(c.Out)}
	for _, col := range columns {
		if col.Heading != "" {
			w.columns = append(w.columns, col)
		}
	}
	return w
}

func newTab(out io.Writer) *tabwriter.Writer { return tabwriter.NewWriter(out, 0, 8, 2, ' ', 0) }

// Row adds a row.
func (w *tableWriter[T]) Row(row T) error {
	if w.rows == 0 {
		headings := make([]string, len(w.columns))
		for i, c := range w.columns {
			headings[i] = c.Heading
		}
		if err := writeCells(w.tab, headings); err != nil {
			return err
		}
	}
	w.rows++
	cells := make([]string, len(w.columns))
	for i, c := range w.columns {
		cells[i] = c.text(row)
	}
	return writeCells(w.tab, cells)
}

func writeCells(out io.Writer, cells []string) error {
	_, err := fmt.Fprintln(out, strings.TrimRight(strings.Join(cells, "\t"), "\t"))
	return err
}

// Close writes the table and the notes under it.
func (w *tableWriter[T]) Close(notes ...Note) error {
	if err := w.tab.Flush(); err != nil {
		return err
	}
	if w.rows == 0 {
		if _, err := fmt.Fprintf(w.config.Err, "there are no %s to show\n", strings.ReplaceAll(w.key, "_", " ")); err != nil {
			return err
		}
	}
	return writeNotes(w.config.Out, w.rows > 0, notes)
}

// writeNotes writes what a person reads of the notes, after a blank line where
// something stands above.
func writeNotes(out io.Writer, gap bool, notes []Note) error {
	for _, n := range notes {
		for _, line := range n.Text {
			if gap {
				if _, err := fmt.Fprintln(out); err != nil {
					return err
				}
				gap = false
			}
			if _, err := fmt.Fprintln(out, Wrap(Printable(line))); err != nil {
				return err
			}
		}
	}
	return nil
}

// lineWidth is how wide a line of prose is at most.
const lineWidth = 98

// Wrap breaks a line of prose between words; what follows is indented by two more
// than the line itself is.
func Wrap(line string) string {
	indent := strings.Repeat(" ", len(line)-len(strings.TrimLeft(line, " "))+2)
	var b strings.Builder
	width, spaces := 0, 0
	for i, word := range strings.Split(line, " ") {
		if i > 0 {
			spaces++
		}
		n := utf8.RuneCountInString(word)
		if n == 0 {
			continue // spaces that follow each other stay together, and no line ends with them
		}
		if width > 0 && width+spaces+n > lineWidth {
			b.WriteString("\n" + indent)
			width = len(indent)
		} else {
			b.WriteString(strings.Repeat(" ", spaces))
			width += spaces
		}
		spaces = 0
		b.WriteString(word)
		width += n
	}
	return b.String()
}

type csvWriter[T any] struct {
	config  Config
	columns []Column[T]
	csv     *csv.Writer
}

func (w *csvWriter[T]) heading() error {
	names := make([]string, len(w.columns))
	for i, c := range w.columns {
		names[i] = c.Name
	}
	return w.csv.Write(names)
}

// Row writes a row.
func (w *csvWriter[T]) Row(row T) error {
	cells := make([]string, len(w.columns))
	for i, c := range w.columns {
		value := c.Value(row)
		cells[i] = plain(value)
		switch value.(type) {
		case string, []string, Object, []Object:
			cells[i] = inert(cells[i])
		}
	}
	return w.csv.Write(cells)
}

// inert makes a text that a spreadsheet would run as a formula one that it only
// shows. (CWE-1236, improper neutralisation of formula elements in a CSV file.)
func inert(text string) string {
	if text == "" || text == "-" || !strings.ContainsRune("=+-@\t\r", rune(text[0])) || isNumber(text) {
		return text
	}
	return "'" + text
}

// isNumber says whether a text is a plain decimal number, which a spreadsheet
// reads as such.
func isNumber(text string) bool {
	digits := strings.TrimLeft(text, "+-")
	return len(text)-len(digits) <= 1 && strings.Trim(digits, "0123456789") == "" && digits != "" ||
		len(text)-len(digits) <= 1 && strings.Count(digits, ".") == 1 && strings.Trim(digits, "0123456789.") == "" && digits != "."
}

// Close ends the list; what a person should know goes to the side.
func (w *csvWriter[T]) Close(notes ...Note) error {
	w.csv.Flush()
	if err := w.csv.Error(); err != nil {
		return err
	}
	return writeNotes(w.config.Err, false, notes)
}

// Show writes one thing: as a list of one in JSON and CSV, line by line for a
// person, its empty fields left out.
func Show[T any](c Config, key string, columns []Column[T], row T, notes ...Note) error {
	if c.Format != Table {
		w, err := New(c, key, columns)
		if err != nil {
			return err
		}
		if err := w.Row(row); err != nil {
			return err
		}
		return w.Close(notes...)
	}
	tab := newTab(c.Out)
	for _, col := range withName(columns) {
		text := col.text(row)
		if text == "" {
			continue
		}
		if err := writeCells(tab, []string{label(col.Name), text}); err != nil {
			return err
		}
	}
	if err := tab.Flush(); err != nil {
		return err
	}
	return writeNotes(c.Out, true, notes)
}

// label is what a person reads for the name of a column: `torque_n_m` is
// `torque (N.m)`.
func label(name string) string {
	for _, unit := range []struct{ suffix, symbol string }{
		{"_n_m", " (N.m)"}, {"_mm", " (mm)"}, {"_pct", " (%)"}, {"_c", " (°C)"},
	} {
		if base, ok := strings.CutSuffix(name, unit.suffix); ok {
			return strings.ReplaceAll(base, "_", " ") + unit.symbol
		}
	}
	return strings.ReplaceAll(name, "_", " ")
}
