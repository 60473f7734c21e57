package shift

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"jointledger/internal/ledger"
)

// heldDown is how long the key that confirms must have been up before it confirms
// again: a key that is held down repeats many times a second, and nobody brings a
// joint to torque in less.
const heldDown = 500 * time.Millisecond

// confirm does the next thing of the joint: the seal, which goes in before the
// fasteners, else it keeps that all fasteners which were left are tightened.
func (m *Model) confirm() tea.Cmd {
	now := m.work.Now()
	before := m.confirmed
	m.confirmed = now
	if since := now.Sub(before); since >= 0 && since < heldDown {
		return nil
	}
	j := m.current()
	if j == nil {
		return nil
	}
	if j.toSeal() {
		return m.openSealing()
	}
	return m.tighten(j.Left)
}

// tighten keeps a first pass over some fasteners of the joint.
func (m *Model) tighten(n int) tea.Cmd {
	j := m.current()
	switch {
	case j.Left <= 0:
		m.say("all %d fasteners of %s are tightened", j.Fasteners, j.Place.Joint)
		return nil
	case m.missing() != "":
		return m.openWith("choose " + m.missing() + " first")
	}
	r := &ledger.Tightening{
		Joint: j.Place, Lot: m.with.Lot, Treatment: m.with.Treatment, CompoundBatch: m.with.Batch, Tool: m.with.Tool,
		TorqueAsTyped: m.with.TorqueAsTyped, Fasteners: n, Pass: ledger.PassFirst, Method: m.with.Method,
	}
	if t := m.with.TorqueNewtonMetres; t != nil {
		torque := *t
		r.TorqueNewtonMetres = &torque
	}
	return m.keep(r, fmt.Sprintf("%s, %s tightened", j.Place.Joint, counted(n, "fastener")))
}

// missing says what must be chosen before fasteners can be entered; empty for
// nothing.
func (m *Model) missing() string {
	var parts []string
	if m.with.Lot == "" {
		parts = append(parts, "a lot")
	}
	if m.with.Treatment == 0 {
		parts = append(parts, "a treatment")
	}
	return strings.Join(parts, " and ")
}

// openPart asks how many of the fasteners that are left were tightened.
func (m *Model) openPart() tea.Cmd {
	j := m.current()
	if j == nil {
		return nil
	}
	if j.Left <= 0 {
		m.say("all %d fasteners of %s are tightened", j.Fasteners, j.Place.Joint)
		return nil
	}
	if m.missing() != "" {
		return m.openWith("choose " + m.missing() + " first")
	}
	m.screen = &ask{
		title: fmt.Sprintf("%s: how many tightened? %d left", j.Place.Joint, j.Left), digits: true,
		done: func(m *Model, text string) (string, tea.Cmd) {
			n, problem := countOf(text, 1, j.Left)
			if problem != "" {
				return problem, nil
			}
			m.screen = nil
			return "", m.tighten(n)
		},
	}
	return nil
}

// countOf reads a number of fasteners between two bounds.
func countOf(text string, least, most int) (int, string) {
	n, err := strconv.Atoi(strings.TrimSpace(text))
	if err != nil || n < least || n > most {
		return 0, fmt.Sprintf("expected a number from %d to %d, got %q", least, most, text)
	}
	return n, ""
}
