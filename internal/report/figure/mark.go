package figure

import "strings"

// Shapes of marks. What matters is told by the shape and its filling, never by
// colour.
const (
	circle = iota
	square
	diamond
	up
	down
	left
	right
	cross
)

// mark draws a mark of about a radius around a place; tip is shown by a pointer
// that rests on it, and read out.
func (c *canvas) mark(class string, shape int, x, y, radius float64, filled bool, tip string) {
	fill := "#fff"
	if filled {
		fill = ink
	}
	inside := "/>"
	if tip != "" {
		inside = "><title>" + escaped(tip) + "</title>"
	}
	name := "path"
	if shape == circle {
		name = "circle"
		c.printf(`<circle%v cx="%v" cy="%v" r="%v"`, classed(class), x, y, radius)
	} else {
		c.printf(`<path%v data-x="%v" data-y="%v" d="%v"`, classed(class), x, y, outline(shape, x, y, radius))
	}
	c.printf(` fill="%v" stroke="#000" stroke-width="1.2"%v`, fill, inside)
	if tip != "" {
		c.printf("</%v>", name)
	}
	c.printf("\n")
}

// outline is the path of a shape.
func outline(shape int, x, y, r float64) string {
	corners := map[int][]point{
		square:  {{-.85, -.85}, {.85, -.85}, {.85, .85}, {-.85, .85}},
		diamond: {{0, -1.2}, {1.2, 0}, {0, 1.2}, {-1.2, 0}},
		up:      {{0, -1.2}, {1.15, .9}, {-1.15, .9}},
		down:    {{0, 1.2}, {1.15, -.9}, {-1.15, -.9}},
		left:    {{-1.2, 0}, {.9, -1.15}, {.9, 1.15}},
		right:   {{1.2, 0}, {-.9, -1.15}, {-.9, 1.15}},
		cross:   {{-1, -.5}, {-.5, -1}, {0, -.5}, {.5, -1}, {1, -.5}, {.5, 0}, {1, .5}, {.5, 1}, {0, .5}, {-.5, 1}, {-1, .5}, {-.5, 0}},
	}[shape]
	var b strings.Builder
	for i, p := range corners {
		b.WriteString(map[bool]string{true: "M", false: "L"}[i == 0])
		b.WriteString(coordinate(x+p.x*r) + " " + coordinate(y+p.y*r))
	}
	return b.String() + "Z"
}

// interval draws the line from a lower to an upper limit at height y. A limit that
// is nil, or beyond the axis, ends in an arrow.
func (c *canvas) interval(a axis, lower, upper *float64, y, width float64) {
	x1, x2 := a.from, a.to
	openLeft, openRight := true, true
	if lower != nil && *lower <= a.high {
		openLeft = !a.holds(*lower)
		x1 = a.at(*lower)
	}
	if upper != nil && *upper >= a.low {
		openRight = !a.holds(*upper)
		x2 = a.at(*upper)
	}
	// An interval that lies wholly beyond one end is an arrow there.
	if lower != nil && *lower > a.high {
		x1, openLeft = a.to-8, false
	}
	if upper != nil && *upper < a.low {
		x2, openRight = a.from+8, false
	}
	c.stroke("interval", x1, y, x2, y, width, ink, solid)
	for _, e := range []struct {
		open  bool
		x     float64
		shape int
		in    float64
	}{{openLeft, x1, left, 3}, {openRight, x2, right, -3}} {
		if e.open {
			c.mark("unbounded", e.shape, e.x+e.in, y, 3.5, true, "")
		} else {
			c.stroke("limit", e.x, y-3.5, e.x, y+3.5, width, ink, solid)
		}
	}
}

// legend writes what marks mean, in one line from the left at height y, or more
// where one does not hold them; it gives the height below.
func (c *canvas) legend(y float64, entries []legendEntry) float64 {
	x := 4.0
	for _, e := range entries {
		if need := e.room + textWidth(e.text) + 17; x > 4 && x+need-13 > pageWidth {
			x, y = 4, y+17
		}
		e.draw(x, y-4)
		c.text(x+e.room, y, start, e.text)
		x += e.room + textWidth(e.text) + 17
	}
	return y + 6
}

type legendEntry struct {
	room float64 // that the sample takes, with the gap to the text
	draw func(x, y float64)
	text string
}

// sample is a legend's entry for a mark.
func (c *canvas) sample(shape int, filled bool, text string) legendEntry {
	return legendEntry{15, func(x, y float64) { c.mark("", shape, x+5, y, 4.2, filled, "") }, text}
}

// lineSample is a legend's entry for a line.
func (c *canvas) lineSample(width float64, colour, dash, text string) legendEntry {
	return legendEntry{30, func(x, y float64) { c.stroke("", x, y, x+24, y, width, colour, dash) }, text}
}

// fillSample is a legend's entry for an area.
func (c *canvas) fillSample(fill, text string) legendEntry {
	return legendEntry{24, func(x, y float64) { c.box("", x, y-5, 18, 10, fill, "") }, text}
}

// ruler draws an axis below a plot that reaches from top to bottom: grid lines,
// labels, title.
func (c *canvas) ruler(a axis, top, bottom float64, steps int, label func(float64) string, title string) {
	for _, v := range a.ticks(steps) {
		x := a.at(v)
		c.stroke("grid", x, top, x, bottom, 0.6, faint, solid)
		c.stroke("", x, bottom, x, bottom+4, 0.8, ink, solid)
		c.text(x, bottom+16, middle, label(v))
	}
	c.stroke("axis", a.from, bottom, a.to, bottom, 0.8, ink, solid)
	c.text((a.from+a.to)/2, bottom+33, middle, title)
}

// upright draws an axis to the left of a plot that reaches from left to right.
func (c *canvas) upright(a axis, from, to float64, steps int, label func(float64) string) {
	for _, v := range a.ticks(steps) {
		y := a.at(v)
		c.stroke("grid", from, y, to, y, 0.6, faint, solid)
		c.stroke("", from-4, y, from, y, 0.8, ink, solid)
		c.text(from-7, y+4, end, label(v))
	}
	c.stroke("axis", from, a.from, from, a.to, 0.8, ink, solid)
}
