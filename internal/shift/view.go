package shift

import (
	"fmt"
	"strings"

	tea "charm.land/bubbletea/v2"

	"jointledger/internal/ledger"
)

// The least that the mode can be read on.
const leastWidth, leastHeight = 24, 10

// View draws the screen.
func (m *Model) View() tea.View {
	v := tea.NewView(strings.Join(m.frame(), "\n"))
	v.AltScreen = true
	return v
}

// frame is the screen, a string each line: as many as the terminal is high, none
// wider than it.
func (m *Model) frame() []string {
	if m.width < leastWidth || m.height < leastHeight {
		lines := m.wrap(fmt.Sprintf("the terminal is too small: %d x %d at least", leastWidth, leastHeight), m.width)
		lines = append(lines, m.status(m.width)...)
		return lines[:max(0, min(len(lines), m.height))]
	}
	head := m.head()
	foot := m.foot()
	room := m.height - len(head) - len(foot)
	body := m.body(m.width, room)
	body = body[:min(len(body), room)]
	for len(body) < room {
		body = append(body, "")
	}
	return append(append(head, body...), foot...)
}

// head says where, how things stand, and with what the work is done.
func (m *Model) head() []string {
	right := ""
	if m.loaded && m.loadErr == nil {
		right = fmt.Sprintf("%d of %d left", m.left(), len(m.joints))
	}
	where := m.work.Place.String()
	if m.width >= 78 {
		where += "  by " + m.work.Source
	}
	lines := []string{bold(m.apart(where, right, m.width))}
	lines = append(lines, m.status(m.width)...)
	return append(lines, m.withLines(m.width)...)
}

// status is the connection and the outbox; it is on every screen.
func (m *Model) status(width int) []string {
	s := m.standing
	since, sent := " since ", "last sent "
	if width < 60 {
		since, sent = " ", "sent "
	}
	var parts []string
	switch {
	case !s.Known:
		parts = append(parts, "looking for the server")
	case s.Online:
		parts = append(parts, "on-line"+since+m.moment(s.Since))
	default:
		parts = append(parts, "OFF-LINE"+since+m.moment(s.Since))
	}
	if s.LastSent.IsZero() {
		parts = append(parts, "none sent")
	} else {
		parts = append(parts, sent+m.moment(s.LastSent))
	}
	parts = append(parts, fmt.Sprintf("%d waiting", s.Waiting))
	if s.Refused > 0 {
		parts = append(parts, fmt.Sprintf("%d REFUSED", s.Refused))
	}
	lines := m.joined(parts, width)
	if s.Trouble != "" {
		lines = append(lines, m.wrap("LOOK: "+s.Trouble, width)...)
		lines = lines[:min(len(lines), 4)]
	}
	return lines
}

// withLines say with what the work is done.
func (m *Model) withLines(width int) []string {
	w := m.with
	lot := "NO LOT: w chooses"
	if w.Lot != "" {
		lot = "lot " + w.Lot
	}
	parts := []string{lot, treatmentWords(w.Treatment)}
	if w.Batch != "" {
		parts = append(parts, "batch "+w.Batch)
	}
	if w.Tool != "" {
		parts = append(parts, "tool "+w.Tool)
	} else {
		parts = append(parts, "no tool")
	}
	if w.TorqueAsTyped != "" {
		parts = append(parts, w.TorqueAsTyped)
	}
	if w.Method > ledger.DrivenByHand {
		parts = append(parts, "by "+ledger.DrivingMethods.Name(w.Method))
	}
	if m.note != "" {
		parts = append(parts, "note: "+m.note)
	}
	lines := m.joined(parts, width)
	return lines[:min(len(lines), max(2, m.height/6))]
}

// foot says which keys there are.
func (m *Model) foot() []string {
	keys := m.shortKeys()
	if m.screen != nil {
		keys = m.screen.keys(m)
	}
	lines := m.joined(keys, m.width)
	lines = lines[:min(len(lines), 2)]
	for i := range lines {
		lines[i] = bold(lines[i])
	}
	return lines
}

// body is what is in front: a screen, or the list with what is said below it.
func (m *Model) body(width, height int) []string {
	if m.screen != nil {
		return m.screen.lines(m, width, height)
	}
	rules, least := 2, 4
	if height < 18 {
		rules, least = 1, 3
	}
	said := len(m.said.render(m, width, true))
	detail := m.detail(width)
	detail = detail[:min(len(detail), max(2, height/3, height-rules-least-said))]
	room := height - rules - least - len(detail)
	if m.said.findings && height < 18 && said > room {
		// Of a small screen what was found takes the place of what the next asks for.
		room += len(detail)
		detail = nil
	}
	below := m.saidLines(width, max(1, room))
	list := m.listLines(width, max(1, height-rules-len(detail)-len(below)))
	rule := strings.Repeat("-", width)
	lines := append(list, rule)
	lines = append(lines, detail...)
	if rules > 1 {
		lines = append(lines, rule)
	}
	return append(lines, below...)
}
