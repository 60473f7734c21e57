package figure

import (
	"fmt"
	"math"
)

// Progress is the S-curves of sites: what was planned, what was done and when the
// rest may be.
type Progress struct {
	Caption
	// Of is what is counted, in the plural: `joints tightened`.
	Of string `json:"of"`
	// Sites in the order of reading, the latest first.
	Sites []ProgressSite `json:"sites"`
	// Most is how many sites are drawn; 6 when 0.
	Most int `json:"most"`
}

// ProgressSite is one site's curve.
type ProgressSite struct {
	Name string `json:"name"`
	// Whole is how much there is to do, at least 1.
	Whole int64 `json:"whole"`
	// Planned and Done are how much in all by the end of days, oldest first.
	Planned []ProgressPoint `json:"planned"`
	Done    []ProgressPoint `json:"done"`
	// Forecast is nil where nothing can be said, or nothing is left.
	Forecast *ProgressForecast `json:"forecast"`
}

// ProgressPoint is how much in all by the end of a day.
type ProgressPoint struct {
	Day   Day   `json:"day"`
	Total int64 `json:"total"`
}

// ProgressForecast is the day on which all will be done, with its prediction
// interval, looked at from a day. Latest is nil where the rate is too uncertain for
// one.
type ProgressForecast struct {
	From       Day     `json:"from"`
	Earliest   Day     `json:"earliest"`
	Expected   Day     `json:"expected"`
	Latest     *Day    `json:"latest"`
	Confidence float64 `json:"confidence"`
}

// Name of the figure.
func (f *Progress) Name() string { return "S-curves of " + f.Of }

// Validate finds what cannot be drawn.
func (f *Progress) Validate() error {
	c := checks{err: f.validate()}
	c.name(f.Of, "of")
	for i, s := range f.Sites {
		field := fmt.Sprintf("sites[%d]", i)
		c.name(s.Name, "%s.name", field)
		c.require(s.Whole >= 1 && float64(s.Whole) <= greatest, "must be at least 1", "%s.whole", field)
		c.require(len(s.Planned)+len(s.Done) > 0, "must have a point planned or done", "%s", field)
		c.curve(s.Planned, field+".planned")
		c.curve(s.Done, field+".done")
		if p := s.Forecast; p != nil {
			for _, d := range []struct {
				day  Day
				name string
			}{{p.From, "from"}, {p.Earliest, "earliest"}, {p.Expected, "expected"}} {
				c.day(d.day, "%s.forecast.%s", field, d.name)
			}
			c.require(p.From <= p.Earliest && p.Earliest <= p.Expected, "must run from the day looked from over the earliest to the expected", "%s.forecast", field)
			if p.Latest != nil {
				c.day(*p.Latest, "%s.forecast.latest", field)
				c.require(*p.Latest >= p.Expected, "must not be before the expected day", "%s.forecast.latest", field)
			}
			c.require(p.Confidence > 0 && p.Confidence < 1, "must lie between 0 and 1, both excluded", "%s.forecast.confidence", field)
		}
	}
	return c.err
}

func (c *checks) curve(points []ProgressPoint, field string) {
	for i, p := range points {
		c.day(p.Day, "%s[%d].day", field, i)
		c.count(p.Total, "%s[%d].total", field, i)
		if i > 0 {
			c.require(p.Day > points[i-1].Day && p.Total >= points[i-1].Total, "must be later than the one before, and no less", "%s[%d]", field, i)
		}
	}
}

func (f *Progress) drawn() []ProgressSite { return f.Sites[:most(f.Most, 6, len(f.Sites))] }

const (
	panelWide, panelHigh = 340.0, 176.0
	panelLeft, panelTop  = 50.0, 26.0
	panelRight           = 328.0
	panelBottom          = 140.0
)

// SVG draws the figure: a panel for each site, two abreast.
func (f *Progress) SVG(id string) string {
	c := &canvas{id: id}
	sites := f.drawn()
	if len(sites) == 0 {
		return c.nothing(f)
	}
	fan := c.hatch("fan", 5, 0.7)
	for i, s := range sites {
		x, y := panelWide*float64(i%2), panelHigh*float64(i/2)
		c.printf(`<g class="panel" transform="translate(%v %v)">`+"\n", x, y)
		s.panel(c, fan)
		c.printf("</g>\n")
	}
	bottom := panelHigh*float64((len(sites)+1)/2) + 2
	if m := more(len(f.Sites), len(sites)); m != "" {
		c.text(4, bottom+10, start, m)
		bottom += 17
	}
	c.height = c.legend(bottom+14, []legendEntry{
		c.lineSample(1.2, ink, dashed, "planned"), c.lineSample(2.2, ink, solid, f.Of), c.lineSample(1.4, ink, dotted, "expected"),
		c.fillSample(fan, "between earliest and latest"), c.sample(right, true, "latest day not bounded"),
	})
	return c.finish(f.Name(), f.Description())
}

// axes are those of a panel: days across, what is done upwards.
func (s *ProgressSite) axes() (x, y axis) {
	low, high := math.Inf(1), math.Inf(-1)
	take := func(d Day) { low, high = min(low, d.number()), max(high, d.number()) }
	top := float64(s.Whole)
	for _, points := range [][]ProgressPoint{s.Planned, s.Done} {
		for _, p := range points {
			take(p.Day)
			top = max(top, float64(p.Total))
		}
	}
	if p := s.Forecast; p != nil {
		take(p.From)
		take(p.Expected)
		span := high - low
		if p.Latest == nil {
			high += 0.1 * span
		} else {
			// A latest day far off would squeeze all else together.
			high = max(high, min(p.Latest.number(), low+2.5*span))
		}
	}
	if high == low {
		high++
	}
	return axis{low: low, high: high, from: panelLeft, to: panelRight}, axis{low: 0, high: top, from: panelBottom, to: panelTop}
}

func (s *ProgressSite) panel(c *canvas, fan string) {
	x, y := s.axes()
	c.bold(4, 14, start, fittedBold(s.Name, 112))
	c.text(panelRight, 14, end, s.state())
	before := panelBottom + 20
	for _, share := range []float64{0, 0.5, 1} {
		// Where more was done than there was to do, the labels may have no room.
		if v := share * float64(s.Whole); v == math.Trunc(v) && before-y.at(v) >= 14 {
			before = y.at(v)
			c.stroke("grid", panelLeft, before, panelRight, before, 0.6, faint, solid)
			c.text(panelLeft-5, before+4, end, short(v))
		}
	}
	c.stroke("axis", panelLeft, panelBottom, panelRight, panelBottom, 0.8, ink, solid)
	c.stroke("axis", panelLeft, panelTop, panelLeft, panelBottom, 0.8, ink, solid)
	c.text(panelLeft, panelBottom+15, start, string(dayOf(x.low)))
	c.text(panelRight, panelBottom+15, end, string(dayOf(x.high)))
	if s.Forecast != nil {
		s.forecast(c, x, y, fan)
	}
	c.path("planned", curveOf(s.Planned, x, y, false), 1.2, ink, dashed, "")
	done := curveOf(s.Done, x, y, true)
	if s.Forecast != nil && len(done) > 0 {
		// Nothing was done from the last point until the day looked from.
		done = append(done, point{max(x.at(s.Forecast.From.number()), done[len(done)-1].x), done[len(done)-1].y})
	}
	c.path("done", done, 2.2, ink, solid, "")
}

// short writes a number for the narrow room beside a panel.
func short(v float64) string {
	switch {
	case v >= 1e6:
		return Number(v/1e6) + " M"
	case v >= 1e5:
		return Number(v/1e3) + " k"
	}
	return Number(v)
}

// state says how far it is and when it will be done.
func (s *ProgressSite) state() string {
	done := int64(0)
	if n := len(s.Done); n > 0 {
		done = s.Done[n-1].Total
	}
	if done >= s.Whole {
		return "all done"
	}
	text := Percent(float64(done)/float64(s.Whole)) + " done"
	if s.Forecast != nil {
		text += ", all expected by " + string(s.Forecast.Expected)
	}
	return text
}

// curveOf is a curve through points, in steps for what was done: between two days
// nothing is known of.
func curveOf(points []ProgressPoint, x, y axis, steps bool) []point {
	var curve []point
	for i, p := range points {
		at := point{x.at(p.Day.number()), y.at(float64(p.Total))}
		if steps && i > 0 {
			curve = append(curve, point{at.x, curve[len(curve)-1].y})
		}
		curve = append(curve, at)
	}
	if len(points) == 1 {
		curve = append(curve, point{curve[0].x + 2, curve[0].y})
	}
	return curve
}

func (s *ProgressSite) forecast(c *canvas, x, y axis, fan string) {
	p := s.Forecast
	done := int64(0)
	if n := len(s.Done); n > 0 {
		done = s.Done[n-1].Total
	}
	from := point{x.at(p.From.number()), y.at(float64(done))}
	whole := y.at(float64(s.Whole))
	earliest, latest := point{x.at(p.Earliest.number()), whole}, point{x.to, whole}
	// Beyond the panel the fan's lower edge is cut where it leaves it.
	edge := latest
	switch {
	case p.Latest == nil:
		edge = point{x.to, from.y}
	case p.Latest.number() > x.high:
		share := (x.high - p.From.number()) / (p.Latest.number() - p.From.number())
		edge = point{x.to, from.y + (whole-from.y)*share}
	default:
		latest = point{x.at(p.Latest.number()), whole}
		edge = latest
	}
	c.printf(`<path class="fan" d="M%v %vL%v %vL%v %vL%v %vZ" fill="%v" stroke="#000" stroke-width="0.6"/>`+"\n",
		from.x, from.y, earliest.x, earliest.y, latest.x, latest.y, edge.x, edge.y, fan)
	c.path("expected", []point{from, {x.at(p.Expected.number()), whole}}, 1.4, ink, dotted, "")
	if p.Latest == nil || p.Latest.number() > x.high {
		c.mark("unbounded", right, x.to-4, (latest.y+edge.y)/2, 3.5, true, "")
	}
}

// Description says what the picture shows.
func (f *Progress) Description() string {
	return fmt.Sprintf("%s A curve for each of %d sites of %s by day, against the plan, with a forecast of the day on which all will be done. The figures are in the table.", f.Finding, len(f.drawn()), f.Of)
}

// Table holds where each site stands.
func (f *Progress) Table() Table {
	t := Table{Head: []string{"site", "planned finish", "expected finish", "earliest", "latest", "done", "of"}, TextColumns: 5, More: more(len(f.Sites), len(f.drawn()))}
	for _, s := range f.drawn() {
		planned, done := "–", int64(0)
		if n := len(s.Planned); n > 0 {
			planned = string(s.Planned[n-1].Day)
		}
		if n := len(s.Done); n > 0 {
			done = s.Done[n-1].Total
		}
		row := []string{s.Name, planned, "–", "–", "–"}
		if p := s.Forecast; p != nil {
			row[2], row[3], row[4] = string(p.Expected), string(p.Earliest), "not bounded"
			if p.Latest != nil {
				row[4] = string(*p.Latest)
			}
		}
		t.Rows = append(t.Rows, append(row, Count(done), Count(s.Whole)))
	}
	return t
}
