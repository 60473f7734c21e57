package figure

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
)

// pageWidth is the width of every picture in units; one is a CSS pixel, or 0.75
// points, where the picture is 180 mm wide.
const pageWidth = 680.0

// Greys. Text is black or soft, which stands out 12.6 to 1 on white (WCAG 2.2, 1.4.3
// asks for 4.5); lines that carry a figure are not lighter than line, 4.5 to 1.
const (
	ink   = "#000"
	soft  = "#333"
	line  = "#767676"
	faint = "#ccc" // grid lines, which carry nothing
)

// Line styles.
const (
	solid  = ""
	dashed = "6 4"
	dotted = "1.5 3"
)

// canvas is a picture in the making.
type canvas struct {
	id     string
	body   strings.Builder
	defs   strings.Builder
	height float64
}

// coordinate writes a place, to a hundredth.
func coordinate(v float64) string {
	s := strconv.FormatFloat(math.Round(v*100)/100, 'f', -1, 64)
	if s == "-0" {
		return "0"
	}
	return s
}

func (c *canvas) printf(format string, args ...any) {
	for i, a := range args {
		if v, ok := a.(float64); ok {
			args[i] = coordinate(v)
		}
	}
	fmt.Fprintf(&c.body, format, args...)
}

func escaped(s string) string { return html.EscapeString(visible(s)) }

// Anchors of text.
const (
	start  = "start"
	middle = "middle"
	end    = "end"
)

// text writes one line with its foot at y.
func (c *canvas) text(x, y float64, anchor, s string) { c.styled(x, y, anchor, s, "") }

func (c *canvas) bold(x, y float64, anchor, s string) {
	c.styled(x, y, anchor, s, ` font-weight="bold"`)
}

func (c *canvas) styled(x, y float64, anchor, s, attributes string) {
	if s == "" {
		return
	}
	if anchor != start {
		attributes = ` text-anchor="` + anchor + `"` + attributes
	}
	c.printf(`<text x="%v" y="%v"%v>%v</text>`+"\n", x, y, attributes, escaped(s))
}

// turned writes a line that runs upwards, its middle at x, y.
func (c *canvas) turned(x, y float64, s string) {
	c.printf(`<text transform="translate(%v %v) rotate(-90)" text-anchor="middle">%v</text>`+"\n", x, y, escaped(s))
}

// stroke draws a straight line.
func (c *canvas) stroke(class string, x1, y1, x2, y2, width float64, colour, dash string) {
	c.printf(`<line%v x1="%v" y1="%v" x2="%v" y2="%v" stroke="%v" stroke-width="%v"%v/>`+"\n", classed(class), x1, y1, x2, y2, colour, width, dashes(dash))
}

func dashes(dash string) string {
	if dash == "" {
		return ""
	}
	return ` stroke-dasharray="` + dash + `"`
}

func classed(class string) string {
	if class == "" {
		return ""
	}
	return ` class="` + class + `"`
}

// point is a place in the picture.
type point struct{ x, y float64 }

// path draws a line through points; clip names an area that it is cut to.
func (c *canvas) path(class string, points []point, width float64, colour, dash, clip string) {
	if len(points) == 0 {
		return
	}
	places := make([]string, len(points))
	for i, p := range points {
		places[i] = coordinate(p.x) + "," + coordinate(p.y)
	}
	if clip != "" {
		clip = ` clip-path="url(#` + c.id + "-" + clip + `)"`
	}
	c.printf(`<polyline%v points="%v" fill="none" stroke="%v" stroke-width="%v"%v%v/>`+"\n", classed(class), strings.Join(places, " "), colour, width, dashes(dash), clip)
}

// clip defines an area that paths can be cut to.
func (c *canvas) clip(name string, x, y, width, height float64) {
	fmt.Fprintf(&c.defs, `<clipPath id="%s-%s"><rect x="%s" y="%s" width="%s" height="%s"/></clipPath>`, c.id, name, coordinate(x), coordinate(y), coordinate(width), coordinate(height))
}

// box draws a rectangle; the fill is a colour or a pattern of this picture.
func (c *canvas) box(class string, x, y, width, height float64, fill, tip string) {
	inside := "/>"
	if tip != "" {
		inside = "><title>" + escaped(tip) + "</title></rect>"
	}
	c.printf(`<rect%v x="%v" y="%v" width="%v" height="%v" fill="%v" stroke="#000" stroke-width="0.8"%v`+"\n", classed(class), x, y, width, height, fill, inside)
}

// hatch defines slanting lines as a fill and gives it.
func (c *canvas) hatch(name string, distance, width float64) string {
	fmt.Fprintf(&c.defs, `<pattern id="%s-%s" width="%s" height="%s" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="%s" height="%s" fill="#fff"/><line x1="0" y1="0" x2="0" y2="%s" stroke="#000" stroke-width="%s"/></pattern>`,
		c.id, name, coordinate(distance), coordinate(distance), coordinate(distance), coordinate(distance), coordinate(distance), coordinate(width))
	return "url(#" + c.id + "-" + name + ")"
}

// finish gives the picture with its text alternative.
func (c *canvas) finish(title, description string) string {
	defs := ""
	if c.defs.Len() > 0 {
		defs = "<defs>" + c.defs.String() + "</defs>\n"
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" role="img" aria-labelledby="%s-title %s-desc" font-family="Liberation Sans, Arial, Helvetica, DejaVu Sans, sans-serif" font-size="%s" fill="%s">
<title id="%s-title">%s</title>
<desc id="%s-desc">%s</desc>
%s%s</svg>
`, coordinate(pageWidth), coordinate(c.height), c.id, c.id, coordinate(fontSize), ink, c.id, escaped(title), c.id, escaped(description), defs, c.body.String())
}
