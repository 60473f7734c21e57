package countfile

import (
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/analysis"
)

// rowReaders read the files whose rows are kept one by one, and hold what was read to
// what the columns promise.
var rowReaders = []func(*testing.T, string) (any, error){
	func(t *testing.T, text string) (any, error) {
		rows, err := ReadSealings("f.csv", strings.NewReader(text))
		for _, r := range rows {
			if (r.SurfaceCelsius != nil && !(math.Abs(*r.SurfaceCelsius) <= 120)) || (r.HoursSinceCleaning != nil && !(*r.HoursSinceCleaning >= 0)) ||
				(r.DewMarginCelsius != nil && !(math.Abs(*r.DewMarginCelsius) <= 180)) || r.TestingUnknown && r.Tested {
				t.Errorf("a sealing %+v", r)
			}
		}
		return rows, err
	},
	func(t *testing.T, text string) (any, error) {
		lines, err := ReadStock("f.csv", strings.NewReader(text))
		for i, l := range lines {
			same := func(o analysis.SparesLine) bool { return o.Fastener == l.Fastener && o.Site == l.Site }
			if l.Fastener == "" || l.Failures < 0 || l.Failures > l.Attempts || l.Remaining < 0 || !(l.InstallsPerDay >= 0) || l.LeadTimeDays < 0 || l.PackSize < 0 || slices.ContainsFunc(lines[:i], same) {
				t.Errorf("a line %+v", l)
			}
		}
		return lines, err
	},
	func(t *testing.T, text string) (any, error) {
		table, err := ReadTable("f.csv", strings.NewReader(text))
		for _, c := range table.Columns {
			if c.Name == "" || len(c.Words) != len(table.Lines) {
				t.Errorf("column %q has %d cells in %d rows", c.Name, len(c.Words), len(table.Lines))
			}
		}
		if !slices.IsSorted(table.Lines) {
			t.Errorf("rows at lines %v", table.Lines)
		}
		return table, err
	},
}

// FuzzReadRows: whatever the bytes are, reading ends, what is refused says where and
// why, rows that are taken are sound, and a file reads the same whatever its line ends
// and byte-order mark.
func FuzzReadRows(f *testing.F) {
	f.Add(uint8(0), "failed,tested,surface_c,air_c,humidity_pct,hours_since_cleaning,splice,person,joint,site,day\n1,1,14,12,60,0.5,corner,nd1,J1,RVB,2026-03-02\n")
	f.Add(uint8(0), "failed,dew_margin_c\n0,181\n0,-1e-300\n")
	f.Add(uint8(0), "failed,surface_c,air_c,humidity_pct\n0,120,80,0\n0,-60,-60,100\n")
	f.Add(uint8(1), "fastener,site,failures,remaining,stock,attempts,per_day,lead_days,pack\nM10,RVB,1,200,-4,900,1e300,14,50\nM10,KVR,0,0,0,0,,,\n")
	f.Add(uint8(1), "fastener,failures,successes,remaining,stock\nM10,9223372036854775807,9223372036854775807,1,1\nM10,1,1,1,1\n")
	f.Add(uint8(2), "\ufefflot,torque,lot,\r\n\"a\nb\",1,2,3\r\n")
	f.Add(uint8(2), "a\n\n\nb\n,\n")
	f.Fuzz(func(t *testing.T, which uint8, text string) {
		read := rowReaders[int(which)%len(rowReaders)]
		got, err := read(t, text)
		if err != nil {
			var wrong *WrongError
			if !errors.As(err, &wrong) || wrong.Problems.Count() == 0 {
				t.Fatalf("%v", err)
			}
			for _, p := range wrong.Problems.Listed() {
				if p.Line < 1 || p.Message == "" {
					t.Errorf("no such place: %v", p)
				}
			}
			return
		}
		if strings.ContainsAny(text, "\"\r\ufeff") {
			return // line ends within quotes are the cell's own
		}
		again, err := read(t, "\ufeff"+strings.ReplaceAll(text, "\n", "\r\n"))
		if diff := cmp.Diff(got, again); err != nil || diff != "" {
			t.Errorf("with a mark and CRLF: %v\n%s", err, diff)
		}
	})
}
