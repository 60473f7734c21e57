package cli

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/labelpage"
	"jointledger/internal/cli/output"
	"jointledger/internal/label"
	"jointledger/internal/ledger"
	"jointledger/internal/report"
)

const sheetHelp = `PLACE is a site, tower, cell or joint; the current place when it is left out. The form
has each joint that is still to be sealed or tightened, with what it needs and boxes for
what was done, its QR code and the short code that every command takes. It is made from
what this device carries, or else asked of the server, and says which.

The page is HTML that needs nothing from elsewhere and prints on A4 and US letter. With
--csv it is a table to be filled in instead, which enter takes in.`

// sheetOptions are the flags of `sheet`.
type sheetOptions struct {
	paper, file string
	csv         bool
}

func newSheetCommand(a *app) *cobra.Command {
	var o sheetOptions
	cmd := a.command("sheet [PLACE]", "A form of the joints that are left, to be printed and filled in", sheetHelp)
	cmd.Example = "  trackctl sheet rvb/ct2/c3 --paper letter --file c3.html\n  trackctl sheet c3 --csv --file c3.csv\n  trackctl enter c3.csv"
	f := newFields(cmd)
	f.bind("paper", "", "SIZE", "size of the sheets: a4 or letter; the printer's own when not given", func(text string) error {
		switch strings.ToLower(text) {
		case "a4":
			o.paper = "A4"
		case "letter":
			o.paper = "letter"
		default:
			return fmt.Errorf("expected a4 or letter, got %q", text)
		}
		return nil
	})
	mustComplete(cmd, "paper", []string{"a4", "letter"})
	f.text(&o.file, "file", "", "write the form to `FILE`")
	cmd.Flags().BoolVar(&o.csv, "csv", false, "a table to be filled in, for enter, instead of a page")
	return a.runs(cmd, func(ctx context.Context, args []string) error { return a.sheet(ctx, o, args) })
}

func (a *app) sheet(ctx context.Context, o sheetOptions, args []string) error {
	place, err := a.sheetPlace(args)
	if err != nil {
		return err
	}
	s, err := a.workLeft(ctx, place)
	if err != nil {
		return err
	}
	s.Paper = o.paper
	if a.format != output.Table {
		return a.listSheet(s)
	}
	var b bytes.Buffer
	if o.csv {
		err = writeSheetTable(&b, s)
	} else {
		err = report.WorkSheetPage(&b, s)
	}
	if err != nil {
		return &failure{code: exitInternal, message: fmt.Sprintf("the form can't be laid out: %v", err)}
	}
	if o.file == "" {
		_, err := a.out.Write(b.Bytes())
		return err
	}
	if err := os.WriteFile(o.file, b.Bytes(), 0o644); err != nil {
		return &failure{code: exitCantWrite, message: fmt.Sprintf("the form can't be written: %v", err)}
	}
	_, err = fmt.Fprintf(a.out, "written: %s in %s, by data of %s, %s\n", counted(len(s.Joints), "joint"), output.Printable(o.file), output.Moment(s.AsOf), s.Source)
	return err
}

// sheetPlace is the place that was named, or else the current one.
func (a *app) sheetPlace(args []string) (ledger.Place, error) {
	if len(args) > 0 {
		return a.placeNext(args[0], 1, 2, 3, 4)
	}
	here, ok, err := a.here()
	if err == nil && !ok {
		err = usage("sheet needs a PLACE, or a current one: trackctl at PLACE keeps it")
	}
	return here, err
}

// withCodes gives each joint its short code and draws it.
func withCodes(s *report.WorkSheet) error {
	for i := range s.Joints {
		j := &s.Joints[i]
		code, err := label.Code(j.Cell + "/" + j.Name)
		if err != nil {
			return &failure{code: exitInternal, message: err.Error()}
		}
		if j.Symbol, err = labelpage.Symbol(code); err != nil {
			return &failure{code: exitInternal, message: err.Error()}
		}
		j.Code = code
	}
	return nil
}

func sheetColumns() []output.Column[report.SheetJoint] {
	type joint = report.SheetJoint
	return []output.Column[joint]{
		{Name: "joint", Value: func(j joint) any { return j.Cell + "/" + j.Name }},
		{Name: "code", Value: func(j joint) any { return j.Code }},
		{Name: "kind", Value: func(j joint) any { return j.Kind }},
		{Name: "critical", Value: func(j joint) any { return j.Critical }},
		{Name: "spec", Value: func(j joint) any { return j.Specification }},
		{Name: "fasteners", Value: func(j joint) any { return j.Fasteners }},
		{Name: "left", Value: func(j joint) any { return j.Left }},
		{Name: "seal_due", Value: func(j joint) any { return j.SealDue }},
		{Name: "holds", Value: func(j joint) any { return slices.Clone(j.Holds) }},
	}
}

func (a *app) listSheet(s report.WorkSheet) error {
	w, err := output.New(a.config(), "joints", sheetColumns())
	if err != nil {
		return err
	}
	for _, j := range s.Joints {
		if err := w.Row(j); err != nil {
			return err
		}
	}
	return w.Close(output.Note{Key: "place", Value: s.Place}, output.Note{Key: "as_of", Value: s.AsOf}, output.Note{Key: "source", Value: s.Source},
		output.Note{Key: "cautions", Value: s.Cautions})
}

// sheetTable is the header of the table to be filled in: what stands in the columns
// left and needs is for whoever fills it in, and enter leaves it alone.
var sheetTable = []string{"record", "place", "left", "needs", "at", "person", "fasteners", "lot", "treatment", "batch", "tool", "torque", "sealant", "width", "air", "surface", "humidity", "note"}

// writeSheetTable writes a line for each sealing and each tightening that is due.
func writeSheetTable(out io.Writer, s report.WorkSheet) error {
	w := csv.NewWriter(out)
	line := func(cells map[string]string) error {
		record := make([]string, len(sheetTable))
		for i, c := range sheetTable {
			record[i] = cells[c]
		}
		return w.Write(record)
	}
	if err := w.Write(sheetTable); err != nil {
		return err
	}
	specs := map[string]report.Specification{}
	for _, spec := range s.Specifications {
		specs[spec.Code] = spec
	}
	for _, j := range s.Joints {
		spec := specs[j.Specification]
		place := j.Cell + "/" + j.Name
		held := ""
		if len(j.Holds) > 0 {
			held = "ON HOLD: " + strings.Join(j.Holds, "; ")
		}
		if j.SealDue {
			if err := line(map[string]string{"record": "sealing", "place": place, "needs": sentence(held, string(spec.Sealant))}); err != nil {
				return err
			}
		}
		if j.Left == 0 {
			continue
		}
		locking := ""
		if spec.Locking != "none" {
			locking = "locked by " + string(spec.Locking)
		}
		needs := sentence(held, spec.Fastener.Thread, "treatment "+string(spec.Treatment), locking, fmt.Sprintf("%s to %s N.m", rounded(spec.LowNM, 2), rounded(spec.HighNM, 2)))
		if err := line(map[string]string{"record": "tightening", "place": place, "left": fmt.Sprint(j.Left), "needs": needs}); err != nil {
			return err
		}
	}
	w.Flush()
	return w.Error()
}
