package figure

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// drawn is one element of a picture, at its place in the whole.
type drawn struct {
	name, text, title string
	attr              map[string]string
	dx, dy            float64 // of the panel that it is in
}

func (d drawn) number(t *testing.T, attribute string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(d.attr[attribute], 64)
	if err != nil {
		t.Fatalf("%s of %s %v: %v", attribute, d.name, d.attr, err)
	}
	return v
}

// place is where a mark stands.
func (d drawn) place(t *testing.T) point {
	t.Helper()
	if d.name == "circle" {
		return point{d.number(t, "cx") + d.dx, d.number(t, "cy") + d.dy}
	}
	return point{d.number(t, "data-x") + d.dx, d.number(t, "data-y") + d.dy}
}

var translate = regexp.MustCompile(`translate\(([-0-9.]+) ([-0-9.]+)\)`)

// picture reads an SVG. It must be well-formed, and hold no number that is none.
func picture(t *testing.T, f Figure) []drawn {
	t.Helper()
	if err := f.Validate(); err != nil {
		t.Fatal(err)
	}
	svg := f.SVG("f")
	if strings.Contains(svg, "NaN") || strings.Contains(svg, "Inf") || strings.Contains(svg, "%!") {
		t.Fatalf("a number is none:\n%s", svg)
	}
	var all []drawn
	var open []int
	var dx, dy float64
	for d := xml.NewDecoder(strings.NewReader(svg)); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatalf("%v\n%s", err, svg)
		}
		switch e := token.(type) {
		case xml.StartElement:
			n := drawn{name: e.Name.Local, attr: map[string]string{}, dx: dx, dy: dy}
			for _, a := range e.Attr {
				n.attr[a.Name.Local] = a.Value
			}
			if m := translate.FindStringSubmatch(n.attr["transform"]); m != nil && n.name == "g" {
				dx, dy = float(t, m[1]), float(t, m[2])
			}
			all, open = append(all, n), append(open, len(all))
		case xml.EndElement:
			if e.Name.Local == "g" {
				dx, dy = 0, 0
			}
			open = open[:len(open)-1]
		case xml.CharData:
			if len(open) == 0 {
				continue
			}
			if n := &all[open[len(open)-1]]; n.name == "title" && len(open) > 2 {
				all[open[len(open)-2]].title += string(e)
			} else {
				n.text += string(e)
			}
		}
	}
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(strings.NewReplacer(",", "", " %", "", "−", "-").Replace(s), 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func ofClass(all []drawn, class string) []drawn {
	var some []drawn
	for _, d := range all {
		if d.attr["class"] == class {
			some = append(some, d)
		}
	}
	return some
}

// scaleOf is how a reader takes values to places: by the first and the last label of
// an axis, which stand in a row at y, or in a column ending at x.
func scaleOf(t *testing.T, all []drawn, attribute string, at float64, log bool) func(float64) float64 {
	t.Helper()
	other := map[string]string{"y": "x", "x": "y"}[attribute]
	var values, places []float64
	for _, d := range all {
		if d.name != "text" || d.attr["x"] == "" || math.Abs(d.number(t, attribute)-at) > 0.01 {
			continue
		}
		if v, err := strconv.ParseFloat(strings.NewReplacer(",", "", " %", "").Replace(d.text), 64); err == nil {
			place := d.number(t, other)
			if other == "y" {
				place -= 4 // the foot of the letters
			}
			values, places = append(values, v), append(places, place)
		}
	}
	if len(values) < 2 {
		t.Fatalf("only %d labels at %s = %g", len(values), attribute, at)
	}
	of := func(v float64) float64 {
		if log {
			return math.Log(v)
		}
		return v
	}
	last := len(values) - 1
	return func(v float64) float64 {
		return places[0] + (of(v)-of(values[0]))/(of(values[last])-of(values[0]))*(places[last]-places[0])
	}
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > 0.5 {
		t.Errorf("%s stands at %.2f, by the axis at %.2f", what, got, want)
	}
}

// texts are the lines of a picture with the room that they take.
func texts(t *testing.T, all []drawn) (lines []string, rooms []area) {
	t.Helper()
	for _, d := range all {
		if d.name != "text" || d.text == "" || d.attr["x"] == "" {
			continue
		}
		x, y, wide := d.number(t, "x")+d.dx, d.number(t, "y")+d.dy, textWidth(d.text)
		switch d.attr["text-anchor"] {
		case "middle":
			x -= wide / 2
		case "end":
			x -= wide
		}
		lines, rooms = append(lines, d.text), append(rooms, area{x, y - 9, x + wide, y + 2.5})
	}
	return lines, rooms
}

// checkPicture looks for what no picture may have: text or marks outside of it, text
// over text, a name that became part of the drawing, no words for those who don't see.
func checkPicture(t *testing.T, f Figure) []drawn {
	t.Helper()
	all := picture(t, f)
	if all[0].name != "svg" || all[0].attr["role"] != "img" || all[0].attr["aria-labelledby"] != "f-title f-desc" {
		t.Fatalf("%s %v", all[0].name, all[0].attr)
	}
	if all[1].name != "title" || all[2].name != "desc" || !strings.Contains(all[2].text, visible(f.Words().Finding)) {
		t.Errorf("no words: %s %q, %s %q", all[1].name, all[1].text, all[2].name, all[2].text)
	}
	box := strings.Fields(all[0].attr["viewBox"])
	whole := area{0, 0, float(t, box[2]), float(t, box[3])}
	lines, rooms := texts(t, all)
	for i, r := range rooms {
		if !whole.holds(area{r.left + 3, r.top, r.right - 3, r.bottom}) {
			t.Errorf("%q stands outside of the picture: %+v of %+v", lines[i], r, whole)
		}
		for k := range i {
			if o := rooms[k]; r.meets(area{o.left + 0.6, o.top, o.right - 0.6, o.bottom}) {
				t.Errorf("%q stands over %q: %+v, %+v", lines[i], lines[k], r, o)
			}
		}
	}
	for _, d := range all {
		if d.name == "circle" || d.attr["data-x"] != "" {
			if p := d.place(t); p.x < 0 || p.x > whole.right || p.y < 0 || p.y > whole.bottom {
				t.Errorf("a mark stands at %+v", p)
			}
		}
		switch d.name {
		case "svg", "title", "desc", "defs", "clipPath", "pattern", "g", "rect", "line", "polyline", "path", "circle", "text":
		default:
			t.Errorf("an element %q", d.name)
		}
		if size := d.attr["font-size"]; size != "" && float(t, size) < 12 {
			t.Errorf("letters of %s units", size)
		}
	}
	return all
}
