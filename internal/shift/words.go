package shift

import (
	"strings"
	"unicode"

	"github.com/charmbracelet/x/ansi"
)

// inASCII writes a sign for a terminal without UTF-8.
func inASCII(r rune) string {
	switch r {
	case '·', '–', '—', '−':
		return "-"
	case '…':
		return "..."
	case '±':
		return "+/-"
	case '°':
		return "deg "
	case '×':
		return "x"
	case '’', '‘':
		return "'"
	case '“', '”':
		return "\""
	case 'µ':
		return "u"
	case '²':
		return "2"
	case '³':
		return "3"
	case '≥':
		return ">="
	case '≤':
		return "<="
	}
	return "?"
}

// words makes text fit for the terminal: what came from elsewhere must not steer
// it, and where it can't show a sign another stands for it.
func (m *Model) words(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			b.WriteByte(' ')
		case unicode.IsControl(r), r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069:
			b.WriteByte('?')
		case m.ascii && r > '~':
			b.WriteString(inASCII(r))
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}

// wrap breaks prose between words into lines no wider than width; those after the
// first are indented. A code or a place is never broken at its hyphens or strokes,
// only where it is wider than a line.
func (m *Model) wrap(s string, width int) []string {
	const indent = "  "
	width = max(width, len(indent)+2)
	lines := []string{""}
	for _, word := range strings.Fields(m.words(s)) {
		for {
			last := lines[len(lines)-1]
			gap := " "
			if last == "" || last == indent {
				gap = ""
			}
			room := width - ansi.StringWidth(last) - len(gap)
			if ansi.StringWidth(word) <= room {
				lines[len(lines)-1] = last + gap + word
				break
			}
			if gap != "" {
				lines = append(lines, indent)
				continue
			}
			head := ansi.Truncate(word, room, "")
			lines[len(lines)-1] = last + head
			word = word[len(head):]
			lines = append(lines, indent)
		}
	}
	return lines
}

// fit cuts a line to the width.
func (m *Model) fit(s string, width int) string {
	tail := "…"
	if m.ascii {
		tail = "~"
	}
	return ansi.Truncate(m.words(s), max(width, 0), tail)
}

// apart puts two texts at both ends of a line; the left one gives way.
func (m *Model) apart(left, right string, width int) string {
	right = m.fit(right, width)
	room := width - ansi.StringWidth(right) - 1
	if room < 1 {
		return right
	}
	left = m.fit(left, room)
	return left + strings.Repeat(" ", room-ansi.StringWidth(left)+1) + right
}

// joined puts parts into as few lines as hold them, never breaking one.
func (m *Model) joined(parts []string, width int) []string {
	between := m.words(" · ")
	var lines []string
	for _, p := range parts {
		if p = m.fit(p, width); p == "" {
			continue
		}
		last := len(lines) - 1
		if last >= 0 && ansi.StringWidth(lines[last])+len([]rune(between))+ansi.StringWidth(p) <= width {
			lines[last] += between + p
			continue
		}
		lines = append(lines, p)
	}
	return lines
}

// padded fills a text with spaces up to the width.
func padded(s string, width int) string {
	return s + strings.Repeat(" ", max(0, width-ansi.StringWidth(s)))
}

// Emphasis. None of it carries a meaning that the words do not say.
func bold(s string) string    { return ansi.NewStyle().Bold().Styled(s) }
func reverse(s string) string { return ansi.NewStyle().Reverse(true).Styled(s) }
func red(s string) string     { return ansi.NewStyle().Bold().ForegroundColor(ansi.Red).Styled(s) }
func yellow(s string) string {
	return ansi.NewStyle().Bold().ForegroundColor(ansi.Yellow).Styled(s)
}
