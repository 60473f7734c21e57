package figure

import (
	"strings"
	"unicode"
)

// fontSize is that of all text: 12 units of a picture that is 680 units wide are
// 9 points where it is printed 180 mm wide, as on A4.
const fontSize = 12.0

// advances are the widths of the characters from space to tilde in thousandths of
// the font's size: those of the common sans-serif face that browsers
// print by default (from memory; the printed page is checked for overlaps in a
// browser).
var advances = [...]int{
	278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278,
	556, 556, 556, 556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556,
	1015, 667, 667, 722, 722, 667, 611, 778, 722, 278, 500, 667, 556, 833, 722, 778,
	667, 778, 722, 667, 611, 722, 667, 944, 667, 667, 611, 278, 278, 278, 469, 556,
	333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500, 222, 833, 556, 556,
	556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
}

// textWidth is about how wide a text is in the picture, rather too wide than too
// narrow for other scripts.
func textWidth(s string) float64 {
	sum := 0
	for _, r := range s {
		sum += advance(r)
	}
	return float64(sum) / 1000 * fontSize
}

func advance(r rune) int {
	switch {
	case r >= ' ' && int(r-' ') < len(advances):
		return advances[r-' ']
	case unicode.Is(unicode.Mn, r):
		return 0
	case r == '–' || r == '−' || r == '·':
		return 556
	case r < 0x250:
		return 700
	case r < 0x1100:
		return 850
	}
	return 1000
}

// fitted shortens a text to a width in the middle: the ends of names tell more.
func fitted(s string, width float64) string {
	s = visible(s)
	if textWidth(s) <= width {
		return s
	}
	runes := []rune(s)
	// No letter that is seen is narrower than 2.2 units.
	for keep := min(len(runes)-1, int(width/2.2)); keep > 0; keep-- {
		head := (keep + 1) / 2
		if short := string(runes[:head]) + "…" + string(runes[len(runes)-(keep-head):]); textWidth(short) <= width {
			return short
		}
	}
	return "…"
}

// boldness is by how much bold letters are wider, at most.
const boldness = 1.08

// fittedBold is fitted for bold letters.
func fittedBold(s string, width float64) string { return fitted(s, width/boldness) }

// visible keeps what a person typed from turning a picture's words around or
// hiding in it.
func visible(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case unicode.IsControl(r), r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069, r == 0x200e, r == 0x200f, r == 0xfffe, r == 0xffff:
			return unicode.ReplacementChar
		}
		return r
	}, s)
}
