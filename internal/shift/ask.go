package shift

import (
	"strings"
	"unicode/utf8"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"
)

// ask is a screen that asks for one line of text.
type ask struct {
	title string
	// hints are lines below the field.
	hints []string
	text  string
	// digits says that nothing but digits can be typed.
	digits bool
	// fresh says that the text was there before: the first thing typed replaces it.
	fresh   bool
	problem string
	// done takes what was typed. It says what is wrong with it, or goes on by itself.
	done func(m *Model, text string) (problem string, cmd tea.Cmd)
}

// longest is as much as can be typed: the longest note that a record may carry.
const longest = 2000

func (a *ask) key(m *Model, k tea.KeyPressMsg) tea.Cmd {
	switch k.String() {
	case "esc":
		m.screen = nil
	case "enter":
		var cmd tea.Cmd
		a.problem, cmd = a.done(m, strings.TrimSpace(a.text))
		return cmd
	default:
		a.text, a.fresh = edited(a.text, k, a.fresh)
		a.keepDigits()
		a.problem = ""
	}
	return nil
}

func (a *ask) typed(_ *Model, text string) {
	a.text = clipped(a.text + text)
	a.keepDigits()
}

func (a *ask) keepDigits() {
	if a.digits {
		a.text = strings.Map(func(r rune) rune {
			if r >= '0' && r <= '9' {
				return r
			}
			return -1
		}, a.text)
	}
}

// edited is a line of text after a key; fresh text goes when something is typed.
func edited(text string, k tea.KeyPressMsg, fresh bool) (string, bool) {
	switch k.String() {
	case "backspace":
		if fresh {
			return "", false
		}
		_, size := utf8.DecodeLastRuneInString(text)
		return text[:len(text)-size], false
	case "ctrl+u":
		return "", false
	}
	if k.Text == "" {
		return text, fresh
	}
	if fresh {
		text = ""
	}
	return clipped(text + k.Text), false
}

func clipped(text string) string {
	if len(text) > longest {
		text = text[:longest]
		for !utf8.ValidString(text) {
			text = text[:len(text)-1]
		}
	}
	return text
}

// field shows a line of text with a place to write on; of a long one its end.
func (m *Model) field(text string, width int) string {
	text = m.words(text)
	if over := ansi.StringWidth(text) - (width - 2); over > 0 {
		text = ansi.TruncateLeft(text, over, "")
	}
	return reverse(padded(text+"_", max(0, width-1)))
}

func (a *ask) lines(m *Model, width, _ int) []string {
	lines := m.wrap(a.title, width)
	lines = append(lines, m.field(a.text, min(width, 60)))
	if a.problem != "" {
		lines = append(lines, m.wrap("LOOK: "+a.problem, width)...)
	}
	for _, h := range a.hints {
		lines = append(lines, m.wrap(h, width)...)
	}
	return lines
}

func (a *ask) keys(*Model) []string { return []string{"Enter takes it", "Esc back"} }
