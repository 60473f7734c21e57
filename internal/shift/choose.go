package shift

import (
	"strconv"
	"strings"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"
)

// choose is a screen that chooses one thing of many; what is typed narrows them.
// A code that is not among them can be taken too: the device may not know all.
type choose struct {
	title string
	all   []Choice
	text  string
	at    int
	take  func(m *Model, code string)
}

func newChoose(title, now string, all []Choice, take func(*Model, string)) *choose {
	c := &choose{title: title, all: all, take: take}
	for i, one := range all {
		if one.Code == now {
			c.at = i
		}
	}
	return c
}

// fitting are the choices that hold what was typed, in their code or their words.
func (c *choose) fitting() []Choice {
	if c.text == "" {
		return c.all
	}
	want := strings.ToUpper(c.text)
	var fit []Choice
	for _, one := range c.all {
		if strings.Contains(strings.ToUpper(one.Code), want) || strings.Contains(strings.ToUpper(one.Words), want) {
			fit = append(fit, one)
		}
	}
	return fit
}

func (c *choose) key(m *Model, k tea.KeyPressMsg) tea.Cmd {
	fit := c.fitting()
	switch k.String() {
	case "esc":
		m.screen = &withScreen{}
	case "up":
		c.at = max(0, c.at-1)
	case "down", "tab":
		c.at = min(max(0, len(fit)-1), c.at+1)
	case "enter":
		switch {
		case c.text == "-":
			c.take(m, "")
		case len(fit) > 0:
			c.take(m, fit[min(c.at, len(fit)-1)].Code)
		case c.text != "":
			c.take(m, strings.ToUpper(strings.TrimSpace(c.text)))
		}
	default:
		c.text, _ = edited(c.text, k, false)
		c.at = 0
	}
	return nil
}

func (c *choose) typed(_ *Model, text string) {
	c.text, c.at = clipped(c.text+strings.TrimSpace(text)), 0
}

func (c *choose) lines(m *Model, width, height int) []string {
	lines := append(m.wrap(c.title, width), m.field(c.text, min(width, 60)))
	fit := c.fitting()
	if len(fit) == 0 {
		if c.text != "" && c.text != "-" {
			lines = append(lines, m.wrap("LOOK: this device knows no "+strings.ToUpper(c.text)+"; Enter takes it all the same", width)...)
		}
		return lines
	}
	room := max(1, height-len(lines))
	code := 0
	for _, one := range fit {
		code = max(code, ansi.StringWidth(one.Code))
	}
	code = min(code, width/2)
	top := max(0, min(c.at-room/2, len(fit)-room))
	for i := top; i < len(fit) && i < top+room; i++ {
		line := padded(m.fit(fit[i].Code, code), code) + "  " + fit[i].Words
		line = m.fit(line, width-2)
		if i == c.at {
			lines = append(lines, reverse(padded("> "+line, width)))
		} else {
			lines = append(lines, "  "+line)
		}
	}
	return lines
}

func (c *choose) keys(*Model) []string {
	return []string{"type a part of it", "Enter takes it", "Esc back"}
}

// chooseWord is a screen that chooses one of a few words by its number.
type chooseWord struct {
	title string
	words []string
	take  func(m *Model, i int)
}

func newChooseWord(title string, words []string, take func(*Model, int)) *chooseWord {
	return &chooseWord{title, words, take}
}

func (c *chooseWord) key(m *Model, k tea.KeyPressMsg) tea.Cmd {
	name := k.String()
	if name == "esc" {
		m.screen = &withScreen{}
		return nil
	}
	if n, err := strconv.Atoi(name); err == nil && n >= 1 && n <= len(c.words) {
		c.take(m, n-1)
	}
	return nil
}

func (c *chooseWord) lines(m *Model, width, _ int) []string {
	lines := []string{bold(m.fit(c.title, width))}
	for i, w := range c.words {
		lines = append(lines, m.fit("  "+strconv.Itoa(i+1)+"  "+w, width))
	}
	return lines
}

func (c *chooseWord) keys(*Model) []string { return []string{"a number chooses", "Esc back"} }
