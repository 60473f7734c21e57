package termfigure

import (
	"math"
	"strings"
	"unicode"
)

// Options say what the terminal can show.
type Options struct {
	// Width in columns: no line is wider. 80 when 0; taken as 40 below that.
	Width int
	// ASCII asks for nothing but ASCII; letters beyond it become `?`.
	ASCII bool
}

const narrowest = 40

func (o Options) width() int {
	if o.Width == 0 {
		return 80
	}
	return max(o.Width, narrowest)
}

// glyphs are the characters that lines and marks are made of.
type glyphs struct {
	dash, crossing, left, right, lower, upper, reference rune
	out, plain, above3, above2, below2, below3           rune
	sigma2, sigma3, target, limit, centre, divider       rune
	bar, ellipsis                                        rune
}

func (o Options) glyphs() glyphs {
	if o.ASCII {
		return glyphs{
			dash: '-', crossing: '+', left: '<', right: '>', lower: '[', upper: ']', reference: ':',
			out: '#', plain: 'o', above3: 'A', above2: 'a', below2: 'v', below3: 'V',
			sigma2: '.', sigma3: '-', target: '_', limit: '-', centre: '.', divider: '|',
			bar: '#', ellipsis: '~',
		}
	}
	return glyphs{
		dash: '─', crossing: '┼', left: '◄', right: '►', lower: '├', upper: '┤', reference: '┊',
		out: '■', plain: '○', above3: '▲', above2: '△', below2: '▽', below3: '▼',
		sigma2: '·', sigma3: '─', target: '┄', limit: '╌', centre: '·', divider: '│',
		bar: '█', ellipsis: '…',
	}
}

// columns is how many columns a character takes.
func columns(r rune) int {
	switch {
	case unicode.Is(unicode.Mn, r), unicode.Is(unicode.Me, r), unicode.Is(unicode.Cf, r):
		return 0
	case r >= 0x1100 && r <= 0x115f, r >= 0x2e80 && r <= 0xa4cf, r >= 0xac00 && r <= 0xd7a3, r >= 0xf900 && r <= 0xfaff,
		r >= 0xfe30 && r <= 0xfe6f, r >= 0xff00 && r <= 0xff60, r >= 0xffe0 && r <= 0xffe6, r >= 0x1f300 && r <= 0x1faff, r >= 0x20000 && r <= 0x3fffd:
		return 2
	}
	return 1
}

func wide(s string) int {
	sum := 0
	for _, r := range s {
		sum += columns(r)
	}
	return sum
}

// shown makes a text fit to be shown: no control or direction characters, and ASCII
// where that is all there is.
func (o Options) shown(s string) string {
	plain := strings.NewReplacer("−", "-", "–", "-", "′", "'", "→", "->", "…", "~", "σ", "sigma", "°", " deg", "·", ".", "×", "x", "’", "'", "“", `"`, "”", `"`, "≥", ">=", "≤", "<=", "\u00a0", " ")
	if o.ASCII {
		s = plain.Replace(s)
	}
	return strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r), o.ASCII && r > '~':
			return '?'
		}
		return r
	}, s)
}

// fitted shortens a text in the middle to a number of columns.
func (o Options) fitted(s string, most int) string {
	s = o.shown(s)
	if wide(s) <= most {
		return s
	}
	runes := []rune(s)
	for keep := len(runes) - 1; keep > 0; keep-- {
		head := (keep + 1) / 2
		if short := string(runes[:head]) + string(o.glyphs().ellipsis) + string(runes[len(runes)-(keep-head):]); wide(short) <= most {
			return short
		}
	}
	return string(o.glyphs().ellipsis)
}

// left and right fill a text up to a number of columns.
func left(s string, most int) string  { return s + strings.Repeat(" ", max(0, most-wide(s))) }
func right(s string, most int) string { return strings.Repeat(" ", max(0, most-wide(s))) + s }

// wrapped breaks a text into lines; a word that is too long for one is broken.
func (o Options) wrapped(s string) []string {
	var lines []string
	current := ""
	for _, word := range strings.Fields(o.shown(s)) {
		for wide(word) > o.width() {
			if current != "" {
				lines, current = append(lines, current), ""
			}
			n := 0
			for i, r := range word {
				if n += columns(r); n > o.width() {
					lines, word = append(lines, word[:i]), word[i:]
					break
				}
			}
		}
		switch {
		case current == "":
			current = word
		case wide(current)+1+wide(word) <= o.width():
			current += " " + word
		default:
			lines, current = append(lines, current), word
		}
	}
	if current != "" {
		lines = append(lines, current)
	}
	return lines
}

// grid is a plot in the making, a character a cell.
type grid struct {
	cells         [][]rune
	width, height int
}

func newGrid(width, height int) *grid {
	g := &grid{width: width, height: height}
	for range height {
		g.cells = append(g.cells, []rune(strings.Repeat(" ", width)))
	}
	return g
}

// put writes a character; what lies outside of the plot is not seen.
func (g *grid) put(column, row int, r rune) {
	if column >= 0 && column < g.width && row >= 0 && row < g.height {
		g.cells[row][column] = r
	}
}

// scale takes a value to a cell of n between low and high.
func scale(v, low, high float64, n int, log bool) int {
	if log {
		v, low, high = math.Log(max(v, low)), math.Log(low), math.Log(high)
	}
	if !(high > low) {
		return 0
	}
	return int(math.Round(min(max((v-low)/(high-low), 0), 1) * float64(n-1)))
}

func trimmed(lines []string) []string {
	for i, l := range lines {
		lines[i] = strings.TrimRight(l, " ")
	}
	return lines
}
