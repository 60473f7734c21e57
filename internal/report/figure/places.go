package figure

// area is a rectangle of a picture, from its upper left to its lower right corner.
type area struct{ left, top, right, bottom float64 }

func (a area) meets(b area) bool {
	return a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom
}

func (a area) holds(b area) bool {
	return b.left >= a.left && b.right <= a.right && b.top >= a.top && b.bottom <= a.bottom
}

// clear takes the lines away behind a text, as far as not to hide marks.
func (c *canvas) clear(a area) {
	c.printf(`<rect class="clear" x="%v" y="%v" width="%v" height="%v" fill="#fff" fill-opacity="0.8"/>`+"\n", a.left, a.top, a.right-a.left, a.bottom-a.top)
}

// places is where in a plot there is no room for a label any more.
type places struct {
	plot  area
	taken []area
}

func newPlaces(plot area) *places { return &places{plot: plot} }

// mark takes the place of a mark.
func (p *places) mark(at point, radius float64) {
	r := 1.3 * radius
	p.taken = append(p.taken, area{at.x - r, at.y - r, at.x + r, at.y + r})
}

func (p *places) free(a area) bool {
	if !p.plot.holds(a) {
		return false
	}
	for _, t := range p.taken {
		if t.meets(a) {
			return false
		}
	}
	return true
}

// label writes a name beside a mark where it is in nobody's way, further off with a
// line that leads to it. It says whether there was room.
func (p *places) label(c *canvas, at point, name string) bool {
	const high, gap = 13.0, 8.0
	width := textWidth(name)*boldness + 2
	for _, off := range []float64{0, 15, 30, 46, 64} {
		for _, d := range []point{{1, 0}, {-1, 0}, {1, -1}, {1, 1}, {-1, -1}, {-1, 1}, {0, -1}, {0, 1}} {
			if off == 0 && d.x != 0 && d.y != 0 {
				continue
			}
			centre := point{at.x + d.x*(gap+off*0.8+width/2), at.y + d.y*(off+gap+high/2)}
			if d.x != 0 && d.y != 0 {
				centre.y = at.y + d.y*off
			}
			a := area{centre.x - width/2, centre.y - high/2, centre.x + width/2, centre.y + high/2}
			if !p.free(a) {
				continue
			}
			if off > 0 {
				foot := point{min(max(at.x, a.left), a.right), min(max(at.y, a.top), a.bottom)}
				c.stroke("leader", at.x, at.y, foot.x, foot.y, 0.7, line, solid)
			}
			p.taken = append(p.taken, a)
			c.clear(a)
			c.styled(a.left+1, a.bottom-3, start, name, ` class="label" font-weight="bold"`)
			return true
		}
	}
	return false
}
