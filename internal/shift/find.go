package shift

import (
	"strings"

	tea "charm.land/bubbletea/v2"
)

// find goes to a joint by the tail of its tag while it is typed.
type find struct {
	text string
	// from is where the cursor stood.
	from int
	// found are the joints that fit, those whose tag ends so before those that only
	// hold it; at is the one that is shown.
	found []int
	at    int
}

func newFind(m *Model, text string) *find {
	f := &find{text: text, from: m.cursor}
	f.look(m)
	return f
}

// look goes to the first joint that fits.
func (f *find) look(m *Model) {
	f.found, f.at = nil, 0
	want := strings.ToUpper(f.text)
	if want == "" {
		m.cursor = f.from
		return
	}
	var inside []int
	for i := range m.joints {
		tag := m.joints[i].Place.Joint
		switch {
		case strings.HasSuffix(tag, want):
			f.found = append(f.found, i)
		case strings.Contains(tag, want):
			inside = append(inside, i)
		}
	}
	f.found = append(f.found, inside...)
	m.cursor = f.from
	f.show(m)
}

func (f *find) show(m *Model) {
	if len(f.found) > 0 {
		m.cursor = f.found[f.at]
	}
}

func (f *find) key(m *Model, k tea.KeyPressMsg) tea.Cmd {
	switch k.String() {
	case "esc":
		m.cursor, m.screen = f.from, nil
	case "enter":
		m.screen = nil
		if len(f.found) == 0 {
			m.say("no joint of %s ends in %s", m.work.Place.String(), f.text)
		} else if j := m.current(); j != nil {
			j.hidden = false
		}
	case "down", "tab", "up", "shift+tab":
		step := 1
		if s := k.String(); s == "up" || s == "shift+tab" {
			step = -1
		}
		if n := len(f.found); n > 0 {
			f.at = (f.at + step + n) % n
			f.show(m)
		}
	default:
		f.text, _ = edited(f.text, k, false)
		f.look(m)
	}
	return nil
}

func (f *find) typed(m *Model, text string) {
	f.text = clipped(f.text + strings.TrimSpace(text))
	f.look(m)
}

func (f *find) lines(m *Model, width, height int) []string {
	fit := counted(len(f.found), "joint")
	if len(f.found) == 1 {
		fit += " fits"
	} else {
		fit += " fit"
	}
	head := m.apart("find a tag that ends in "+f.text+"_", fit, width)
	if width < 60 {
		head = m.apart("find …"+f.text+"_", fit, width)
	}
	return append([]string{reverse(head)}, m.listLines(width, height-1)...)
}

func (f *find) keys(*Model) []string {
	return []string{"Enter goes there", "Tab the next that fits", "Esc back"}
}
