package cli

import (
	"fmt"
	"io"
	"os"
	"strings"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// mostOfAKind bounds the quantity of one line of a kit list, as the server does.
const mostOfAKind = 2000

// kitColumns are those of a kit list.
var kitColumns = []csvfile.Column{
	{Name: "kind", Required: true}, {Name: "quantity", Required: true, Number: true},
	{Name: "min_n_m", Number: true}, {Name: "max_n_m", Number: true}, {Name: "load_kg", Number: true}, {Name: "note"},
}

// kitFormat describes a kit list, for the help.
const kitFormat = "A kit list is a CSV file in UTF-8 with a header line; the columns stand in any order:\n" +
	"  kind      kind of tool, such as torque-wrench, hoist, harness; required\n" +
	"  quantity  how many are needed, 1 to 2000; required\n" +
	"  min_n_m   lowest torque that each must reach, N.m\n" +
	"  max_n_m   highest torque that each must reach, N.m; one of the two alone is the\n" +
	"            only torque\n" +
	"  load_kg   load that each must carry, kg\n" +
	"  note      what it is for\n" +
	"Lines may end with LF or CRLF, a byte-order mark is skipped, and cells that are not\n" +
	"needed stay empty. A line that is wrong refuses the file, by line and column.\n"

// kitList is a kit list with where each of its cells stands.
type kitList struct {
	lines []*pb.KitLine
	rows  []*csvfile.Row
}

// readKit reads a kit list from a file, or from in for `-`.
func readKit(name string, in io.Reader) (*kitList, error) {
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return nil, &failure{code: exitNoInput, message: fmt.Sprintf("%s can't be read: %v", name, pathCause(err))}
		}
		defer file.Close()
		if info, err := file.Stat(); err == nil && info.IsDir() {
			return nil, &failure{code: exitNoInput, message: fmt.Sprintf("%s can't be read: expected a file", name)}
		}
		in = file
	}
	kit := &kitList{}
	var problems csvfile.Problems
	err := csvfile.Scan(name, in, kitColumns, &problems, func(row *csvfile.Row) error {
		if line := kitLineOf(row); !row.Bad() {
			kit.lines, kit.rows = append(kit.lines, line), append(kit.rows, row)
		}
		return nil
	})
	if err != nil {
		return nil, &failure{code: exitIO, message: fmt.Sprintf("%s can't be read: %v", name, err)}
	}
	if problems.Count() == 0 && len(kit.lines) == 0 {
		return nil, &failure{code: exitData, message: name + ": expected at least one line of the kit below the header, got none"}
	}
	if problems.Count() > 0 {
		f := &failure{code: exitData, message: fmt.Sprintf("%s: %s refused", name, counted(problems.BadLines(), "line"))}
		for _, p := range problems.Listed() {
			f.lines = append(f.lines, p.String())
		}
		if n := problems.Unlisted(); n > 0 {
			f.lines = append(f.lines, fmt.Sprintf("and %d more", n))
		}
		return nil, f
	}
	return kit, nil
}

// kitLineOf reads one line.
func kitLineOf(row *csvfile.Row) *pb.KitLine {
	line := &pb.KitLine{Quantity: int32(row.RequiredWhole("quantity", 1, mostOfAKind)), Note: row.Text("note")}
	if word := row.Required("kind", "a kind of tool, one of "+strings.Join(ledger.ToolKinds.All(), ", ")); word != "" {
		kind, err := ledger.ToolKinds.Parse(word)
		if err != nil {
			row.Fail("kind", "%v", err)
		}
		line.Kind = pb.ToolKind(kind)
	}
	line.LowestNewtonMetres, line.HighestNewtonMetres = row.AboveZero("min_n_m"), row.AboveZero("max_n_m")
	line.LoadKilograms = row.AboveZero("load_kg")
	switch low, high := line.LowestNewtonMetres, line.HighestNewtonMetres; {
	case low > 0 && high > 0 && high < low:
		row.Fail("max_n_m", "expected at least min_n_m, %g, got %g", low, high)
	case high == 0:
		line.HighestNewtonMetres = low
	case low == 0:
		line.LowestNewtonMetres = high
	}
	return line
}

// refused puts what the server found wrong with lines of the kit where it stands
// in the file.
func (k *kitList) refused(a *app, err error, names map[string]string) error {
	for i, row := range k.rows {
		for field, column := range map[string]string{
			"kind": "kind", "quantity": "quantity", "lowest_newton_metres": "min_n_m", "highest_newton_metres": "max_n_m", "load_kilograms": "load_kg", "note": "note",
		} {
			p := row.Problem(column, "")
			names[fmt.Sprintf("kit[%d].%s", i, field)] = strings.TrimSuffix(p.String(), ": ")
		}
	}
	return a.callFailure(err, names)
}
