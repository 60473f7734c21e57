package countfile

import (
	"io"
	"strings"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/csvfile"
)

func sealingColumns() []csvfile.Column {
	columns := []csvfile.Column{{Name: "failed", Required: true, Number: true}, {Name: "tested", Number: true}}
	for _, name := range []string{"surface_c", "air_c", "humidity_pct", "dew_margin_c", "hours_since_cleaning"} {
		columns = append(columns, csvfile.Column{Name: name, Number: true})
	}
	for _, name := range []string{"splice", "solvent", "person", "joint", "site", "day"} {
		columns = append(columns, csvfile.Column{Name: name})
	}
	return columns
}

// sealingLimits are what the record of a sealing may hold, and a margin between two
// such temperatures.
var sealingLimits = []struct {
	column      string
	least, most float64
}{{"surface_c", -60, 120}, {"air_c", -60, 80}, {"humidity_pct", 0, 100}, {"dew_margin_c", -180, 180}}

// ReadSealings reads a file of sealings, one in each row, with what became of it. The
// error is a *WrongError, or that of r.
func ReadSealings(file string, r io.Reader) ([]analysis.LeakRow, error) {
	var rows []analysis.LeakRow
	first := func(row *csvfile.Row, problems *csvfile.Problems) bool {
		if row.Has("dew_margin_c") && (row.Has("humidity_pct") || row.Has("air_c")) {
			problems.Add(heading(file, "dew_margin_c", "expected either dew_margin_c, or air_c and humidity_pct to reckon it from, got both"))
			return false
		}
		return true
	}
	err := scan(file, r, sealingColumns(), MostRows, first, func(row *csvfile.Row) bool {
		s := analysis.LeakRow{
			Joint: row.Text("joint"), SurfaceCelsius: row.Number("surface_c"), DewMarginCelsius: row.Number("dew_margin_c"),
			Splice: row.Text("splice"), Solvent: row.Text("solvent"), Person: row.Text("person"),
			Failed: row.RequiredWhole("failed", 0, 1) == 1, Tested: row.Whole("tested", 0, 1) == 1,
		}
		s.TestingUnknown = row.Text("tested") == ""
		for _, within := range sealingLimits {
			if v := row.Number(within.column); v != nil && (*v < within.least || *v > within.most) {
				row.Fail(within.column, "expected %g to %g, got %s", within.least, within.most, row.Text(within.column))
			}
		}
		s.HoursSinceCleaning = row.Number("hours_since_cleaning")
		if h := s.HoursSinceCleaning; h != nil && *h < 0 {
			row.Fail("hours_since_cleaning", "expected at least 0, got %s", row.Text("hours_since_cleaning"))
		}
		s.DewMarginCelsius = marginOf(row, s)
		if s.Joint != "" { // a tag is unique at its site only
			s.Joint = row.Text("site") + " " + s.Joint
		}
		if day := row.Date("day"); day != "" {
			s.Cluster = strings.TrimSpace(row.Text("site") + " " + day)
		}
		if !row.Bad() {
			rows = append(rows, s)
		}
		return true
	})
	return rows, err
}

// marginOf reckons the margin over the dew point where the weather is given.
func marginOf(row *csvfile.Row, s analysis.LeakRow) *float64 {
	air, humidity := row.Number("air_c"), row.Number("humidity_pct")
	if air == nil || humidity == nil || s.SurfaceCelsius == nil || row.Bad() {
		return s.DewMarginCelsius
	}
	margin := analysis.DewMargin(*air, *s.SurfaceCelsius, *humidity)
	if margin == nil {
		row.Fail("humidity_pct", "expected a humidity above 0 and up to 100 %% with temperatures from -45 to 60 C, got %s %%, air %s C, surface %s C",
			row.Text("humidity_pct"), row.Text("air_c"), row.Text("surface_c"))
	}
	return margin
}
