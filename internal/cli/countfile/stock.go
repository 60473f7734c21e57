package countfile

import (
	"io"

	"jointledger/internal/analysis"
	"jointledger/internal/cli/csvfile"
	"jointledger/internal/stats"
)

// mostStock bounds a number of pieces or days in a file of spares; what is meant by
// more than a thousand million is a slip.
const mostStock = 1_000_000_000

func stockColumns() []csvfile.Column {
	columns := []csvfile.Column{{Name: "fastener", Required: true}, {Name: "site"}}
	for _, name := range []string{"failures", "remaining", "stock"} {
		columns = append(columns, csvfile.Column{Name: name, Required: true, Number: true})
	}
	for _, name := range []string{"attempts", "successes", "per_day", "lead_days", "pack"} {
		columns = append(columns, csvfile.Column{Name: name, Number: true})
	}
	return columns
}

// ReadStock reads a file of spares from r: a fastener at a site in each row, with what
// failed of it, what remains to be installed and what is on hand. The error is a
// *WrongError, or that of r.
func ReadStock(file string, r io.Reader) ([]analysis.SparesLine, error) {
	var lines []analysis.SparesLine
	var t tally
	type thing struct{ fastener, site string }
	seen := map[thing]int{}
	first := func(row *csvfile.Row, problems *csvfile.Problems) bool {
		return t.among(file, row, problems, []string{"failures"}, []string{"attempts"})
	}
	err := scan(file, r, stockColumns(), MostRows, first, func(row *csvfile.Row) bool {
		l := analysis.SparesLine{Fastener: row.Required("fastener", "a lot or the name of a fastener"), Site: row.Text("site")}
		l.Failures, l.Attempts = t.read(row)
		l.Remaining = row.RequiredWhole("remaining", 0, stats.MaxCount/1024)
		l.OnHand = row.RequiredWhole("stock", -mostStock, mostStock)
		l.InstallsPerDay = row.NumberOrZero("per_day")
		if l.InstallsPerDay < 0 {
			row.Fail("per_day", "expected installs a day of at least 0, got %s", row.Text("per_day"))
		}
		l.LeadTimeDays = row.Whole("lead_days", 0, 36500)
		l.PackSize = row.WholeAboveZero("pack", mostStock)
		name := thing{l.Fastener, l.Site}
		if line, twice := seen[name]; twice {
			row.Fail("fastener", "expected each fastener of a site once, got %s again; it stands in line %d too", csvfile.Quote(l.Fastener), line)
		}
		seen[name] = row.Line
		if !row.Bad() {
			lines = append(lines, l)
		}
		return true
	})
	return lines, err
}
