package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"sort"
	"time"

	"github.com/spf13/cobra"

	"jointledger/internal/cli/csvfile"
	"jointledger/internal/cli/output"
	"jointledger/internal/metrology"
	"jointledger/internal/sealing"
)

// windowOptions are the flags of `reckon sealing-window`.
type windowOptions struct {
	f *fields
	limitOptions
	from string
	skin time.Duration
}

const windowHelp = `FILE is a CSV with the columns time, air_c, humidity_pct and, where it was measured or
reckoned, surface_c: a row stands for the hour that begins at its time, or until the
next row. Times carry their zone. - reads standard input. Without surface_c the air
stands in for the surface, and the answer says so.

CSV output lists the windows; JSON has windows and closures.`

func (a *app) reckonSealingWindow() *cobra.Command {
	o := &windowOptions{}
	cmd := a.command("sealing-window", "Hours in which nothing stands against sealing", windowHelp)
	cmd.Example = "  trackctl reckon sealing-window --from hours.csv --skin-time 2h"
	o.f = newFields(cmd)
	o.f.text(&o.from, "from", "", "hourly table, a CSV `FILE`")
	cmd.Flags().DurationVar(&o.skin, "skin-time", 0, "how long the sealant needs to skin, such as 45m or 2h; gives the last time to start")
	o.limitOptions.flags(o.f)
	return a.reckons(cmd, func([]string) (*reckoning, error) { return o.reckon(a.in) })
}

// hourColumns are the columns of the hourly table.
var hourColumns = []csvfile.Column{
	{Name: "time", Required: true}, {Name: "air_c", Required: true, Number: true},
	{Name: "surface_c", Number: true}, {Name: "humidity_pct", Required: true, Number: true},
}

func (o *windowOptions) reckon(in io.Reader) (*reckoning, error) {
	if err := o.f.require("from"); err != nil {
		return nil, err
	}
	if o.skin < 0 {
		return nil, usage("--skin-time: expected a time of at least 0 such as 45m, got %s", o.skin)
	}
	c, err := o.coefficients()
	if err != nil {
		return nil, err
	}
	hours, err := readHours(o.from, in, c)
	if err != nil {
		return nil, err
	}
	limits := o.limits()
	outlook, err := c.Windows(hours, limits)
	if err != nil {
		return nil, &failure{code: exitData, message: fmt.Sprintf("%s: %v", o.from, err)}
	}
	r := &reckoning{}
	r.warn(sealing.Cautions())
	r.add("hours", "rows read", len(hours), "")
	o.limitOptions.tell(r, limits)
	tellCoefficients(r, c)
	if o.skin > 0 {
		r.add("skin_time_hours", "skin time", o.skin.Hours(), o.skin.String())
	}
	r.lists = []reckonedList{o.windows(outlook), closures(outlook), timeline(outlook)}
	if len(outlook.Windows) == 0 {
		r.remarks = append(r.remarks, "there is no window in the table")
	}
	for _, w := range outlook.Windows {
		if w.SurfaceAssumed {
			r.remarks = append(r.remarks, "the air stood in for the surface in some of the hours; sheet steel at night is colder")
			break
		}
	}
	return r, nil
}

// readHours reads the hourly table; a line that is wrong refuses the whole.
func readHours(name string, in io.Reader, c sealing.Coefficients) ([]sealing.Hour, error) {
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			var e *os.PathError
			if errors.As(err, &e) {
				err = e.Err
			}
			return nil, &failure{code: exitNoInput, message: fmt.Sprintf("%s can't be read: %v", name, err)}
		}
		defer file.Close()
		in = file
	}
	var problems csvfile.Problems
	var hours []sealing.Hour
	err := csvfile.Scan(name, in, hourColumns, &problems, func(row *csvfile.Row) error {
		h := hourOf(row, c)
		if n := len(hours); n > 0 && !row.Bad() && !h.At.After(hours[n-1].At) {
			row.Fail("time", "expected a time after that of the row before, got %s", csvfile.Quote(row.Text("time")))
		}
		if !row.Bad() {
			hours = append(hours, h)
		}
		return nil
	})
	if err != nil {
		return nil, &failure{code: exitIO, message: fmt.Sprintf("%s can't be read: %v", name, err)}
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
	if len(hours) == 0 {
		return nil, &failure{code: exitData, message: name + ": expected at least one row of hours, got none"}
	}
	return hours, nil
}

// hourOf reads one row, with the bounds within which the formula holds.
func hourOf(row *csvfile.Row, c sealing.Coefficients) sealing.Hour {
	h := sealing.Hour{At: row.RequiredTime("time")}
	h.Air = sealing.Celsius(row.RequiredNumber("air_c"))
	h.Humidity = sealing.Percent(row.RequiredNumber("humidity_pct"))
	if v := row.Number("surface_c"); v != nil {
		surface := sealing.Celsius(*v)
		h.Surface = &surface
	}
	if row.Bad() {
		return h
	}
	if _, err := c.VapourPressure(h.Air); err != nil {
		row.Fail("air_c", "expected %s, got %s", allowed(err), row.Text("air_c"))
	}
	if !(h.Humidity > 0 && h.Humidity <= 100) {
		row.Fail("humidity_pct", "expected a relative humidity above 0 and up to 100 %%, got %s", row.Text("humidity_pct"))
	}
	if h.Surface != nil {
		if _, err := c.VapourPressure(*h.Surface); err != nil {
			row.Fail("surface_c", "expected %s, got %s", allowed(err), row.Text("surface_c"))
		}
	}
	return h
}

// windows lists the windows for programs.
func (o *windowOptions) windows(outlook sealing.Outlook) reckonedList {
	list := reckonedList{name: "windows", hidden: true, columns: []listColumn{
		{name: "start"}, {name: "end"}, {name: "hours"}, {name: "least_margin_celsius"}, {name: "surface_assumed"}, {name: "last_start"},
	}}
	for _, w := range outlook.Windows {
		var last any
		if o.skin > 0 {
			if t, ok := w.LastStart(o.skin); ok {
				last = t
			}
		}
		list.rows = append(list.rows, []any{w.Start, w.End, w.End.Sub(w.Start).Hours(), float64(w.LeastMargin), w.SurfaceAssumed, last})
	}
	return list
}

// closures lists the times between them for programs.
func closures(outlook sealing.Outlook) reckonedList {
	list := reckonedList{name: "closures", hidden: true, columns: []listColumn{
		{name: "start"}, {name: "end"}, {name: "hours"}, {name: "limiting"}, {name: "value"}, {name: "limit"}, {name: "reasons"},
	}}
	for _, c := range outlook.Closures {
		limiting := c.Limiting()
		var value, limit any
		if limiting.Obstacle != sealing.NoData {
			value, limit = limiting.Value, limiting.Limit
		}
		list.rows = append(list.rows, []any{c.Start, c.End, c.End.Sub(c.Start).Hours(), string(limiting.Obstacle), value, limit, reasonTexts(c.Reasons)})
	}
	return list
}

func reasonTexts(reasons []sealing.Reason) []string {
	texts := make([]string, len(reasons))
	for i, r := range reasons {
		texts[i] = r.String()
	}
	return texts
}

// timeline lists windows and closures in the order of time for a person, each
// closure with what misses its limit by most.
func timeline(outlook sealing.Outlook) reckonedList {
	list := reckonedList{columns: []listColumn{
		{heading: "FROM", text: func(v any) string { return output.Moment(v.(time.Time)) }}, {heading: "TO"}, {heading: "SEALING"}, {heading: "WHY"},
	}}
	for _, w := range outlook.Windows {
		list.rows = append(list.rows, []any{w.Start, clock(w.Start, w.End), "go", "least margin " + degrees(w.LeastMargin)})
	}
	for _, c := range outlook.Closures {
		why := c.Limiting().String()
		if n := len(c.Reasons) - 1; n > 0 {
			why += fmt.Sprintf(" (+%d)", n)
		}
		list.rows = append(list.rows, []any{c.Start, clock(c.Start, c.End), "wait", why})
	}
	sort.SliceStable(list.rows, func(i, j int) bool { return list.rows[i][0].(time.Time).Before(list.rows[j][0].(time.Time)) })
	return list
}

// clock writes the end of a stretch, with its day where that is another.
func clock(start, end time.Time) string {
	if start.Format(time.DateOnly) == end.Format(time.DateOnly) {
		return end.Format("15:04")
	}
	return end.Format("2006-01-02 15:04")
}

// allowed is what a value out of range should have been.
func allowed(err error) string {
	var r *metrology.RangeError
	if errors.As(err, &r) {
		return r.Allowed
	}
	return err.Error()
}
