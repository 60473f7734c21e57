package shift

import tea "charm.land/bubbletea/v2"

// read is a screen that is only read and scrolled.
type read struct {
	title string
	top   int
	// make writes the lines anew for a width, with what is known by then.
	make func(m *Model, width int) []string
	most int
}

func (r *read) key(m *Model, k tea.KeyPressMsg) tea.Cmd {
	switch k.String() {
	case "down", "j", "enter":
		r.top++
	case "up", "k":
		r.top--
	case "pgdown", "space":
		r.top += 8
	case "pgup", "b":
		r.top -= 8
	case "home", "g":
		r.top = 0
	case "end", "G":
		r.top = r.most
	case "esc", "q", "?", "f", "e":
		m.screen = nil
	}
	return nil
}

func (r *read) lines(m *Model, width, height int) []string {
	all := r.make(m, width)
	room := max(1, height-1)
	r.most = max(0, len(all)-room)
	r.top = max(0, min(r.top, r.most))
	below := ""
	if rest := r.most - r.top; rest > 0 {
		below = counted(rest, "line") + " below"
	}
	shown := all[r.top:min(len(all), r.top+room)]
	return append([]string{bold(m.apart(r.title, below, width))}, shown...)
}

func (r *read) keys(*Model) []string { return []string{"Space, b: a page", "Esc back"} }

// openSaid shows in full what is said below the list.
func (m *Model) openSaid() tea.Cmd {
	m.screen = &read{title: "what was found", make: func(m *Model, width int) []string { return m.said.render(m, width, true) }}
	return nil
}

// openEntries shows the entries of this shift, the newest first.
func (m *Model) openEntries() tea.Cmd {
	m.screen = &read{title: "entries of this shift", make: entryLines}
	return nil
}

func entryLines(m *Model, width int) []string {
	if len(m.made) == 0 {
		return []string{m.fit("none yet", width)}
	}
	var lines []string
	for i := len(m.made) - 1; i >= 0; i-- {
		e := m.made[i]
		text := e.at.Format("15:04") + "  " + e.summary + ": " + e.state.String()
		if e.reason != "" {
			text += ": " + e.reason
		}
		lines = append(lines, m.wrap(text, width)...)
		rest := said{lines: e.said.lines}
		for len(rest.lines) > 0 && (rest.lines[0].mark == "KEPT" || rest.lines[0].mark == "REFUSED") {
			rest.lines = rest.lines[1:]
		}
		if e.said.findings {
			for _, l := range rest.render(m, width-2, true) {
				lines = append(lines, "  "+l)
			}
		}
	}
	return lines
}
