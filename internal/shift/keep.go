package shift

import (
	"fmt"
	"slices"
	"strings"
	"time"

	tea "charm.land/bubbletea/v2"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// keep sends a record to the disk; what is said of it waits until it is there.
func (m *Model) keep(record ledger.Record, summary string) tea.Cmd {
	if m.keeping {
		m.say("one moment: the entry before is not kept yet")
		return nil
	}
	m.keeping = true
	record.Head().Note = m.note
	e := &made{record: record, summary: summary, joint: jointOf(record)}
	m.said = said{lines: []spoken{{words: "keeping " + summary + " …"}}}
	return func() tea.Msg {
		kept, err := m.work.Keep(record)
		return keptMsg{e, kept, err}
	}
}

// kept says of an entry that it is durable, and what was found on it.
func (m *Model) kept(msg keptMsg) tea.Cmd {
	m.keeping = false
	if msg.err != nil {
		m.warn("NOT KEPT", "%s: %s", msg.made.summary, sentenceOf(msg.err))
	} else {
		m.note = ""
		e := msg.made
		e.id, e.at = msg.kept.ID, msg.kept.At
		m.made = append(m.made, e)
		m.entries++
		m.count(e, 1)
		e.said = m.saidOf(e, msg.kept)
		m.said = e.said
		// While something is chosen or typed, it is about the joint that it began with.
		if j := m.current(); m.screen == nil && j != nil && j.Place == e.joint && j.done() {
			m.next()
		}
	}
	early := m.early
	m.early = nil
	for _, a := range early {
		m.answered(a)
	}
	if m.ended {
		return tea.Quit
	}
	return nil
}

// jointOf is the joint that an entry is about.
func jointOf(record ledger.Record) ledger.Place {
	switch r := record.(type) {
	case *ledger.Tightening:
		return r.Joint
	case *ledger.Incident:
		return r.Joint
	case *ledger.Sealing:
		return r.Joint
	}
	return ledger.Place{}
}

func (m *Model) saidOf(e *made, kept Kept) said {
	s := said{lines: []spoken{{mark: "KEPT", words: fmt.Sprintf("%s, %s", e.at.Format("15:04"), e.summary)}}, findings: len(kept.Findings) > 0}
	s.lines = append(s.lines, findingLines(kept.Findings, e.joint)...)
	m.hold(e.joint, kept.Findings)
	for _, remark := range kept.Remarks {
		s.lines = append(s.lines, spoken{mark: "LOOK", words: remark, severity: rules.Warn})
	}
	switch {
	case kept.DataOf.IsZero():
		s.lines = append(s.lines, spoken{words: "not judged on this device: what the rules find comes with the server's answer"})
	case len(kept.Findings) > 0:
		s.lines = append(s.lines, spoken{words: "by data of " + m.moment(kept.DataOf)})
	}
	return s
}

// hold marks a joint as on hold by what was found. Undoing the entry does not lift it:
// a hold stands until somebody with the authority releases it.
func (m *Model) hold(at ledger.Place, findings []rules.Finding) {
	j := m.at(at)
	for _, f := range findings {
		if f.Severity != rules.Hold || j == nil {
			continue
		}
		// A hold of the rule that waits to be sent is the same one.
		same := func(hold string) bool { return hold == f.Rule || strings.HasPrefix(hold, f.Rule+" (") }
		if i := slices.IndexFunc(j.Holds, same); i < 0 {
			j.Holds = append(slices.Clone(j.Holds), f.Rule)
		} else if j.Holds[i] != f.Rule {
			j.Holds = slices.Clone(j.Holds)
			j.Holds[i] = f.Rule
		}
	}
}

// moment writes a time as short as it is clear: the day where it is not today.
func (m *Model) moment(t time.Time) string {
	now := m.work.Now()
	t = t.In(now.Location())
	if t.Year() == now.Year() && t.YearDay() == now.YearDay() {
		return t.Format("15:04")
	}
	return t.Format("2 Jan 15:04")
}

// count lets an entry count on its joint, or, by -1, no longer.
func (m *Model) count(e *made, by int) {
	j := m.at(e.joint)
	if j == nil {
		return
	}
	switch r := e.record.(type) {
	case *ledger.Tightening:
		j.Left -= by * r.Fasteners
	case *ledger.Sealing:
		j.Sealed = by > 0
	}
}

// answered takes what the server said to an entry of this shift. Findings are said
// at once where they are others than the device's own, and so is a refusal.
func (m *Model) answered(a Answer) {
	i := slices.IndexFunc(m.made, func(e *made) bool { return e.id == a.ID })
	if i < 0 {
		if m.keeping {
			m.early = append(m.early, a)
		}
		return
	}
	e := m.made[i]
	if a.Refused != "" {
		if e.state != stateRefused && e.state != stateUndone {
			m.count(e, -1)
			m.entries++
		}
		e.state, e.reason = stateRefused, a.Refused
		e.said = said{lines: []spoken{{mark: "REFUSED", words: fmt.Sprintf("by the server: %s: %s", e.summary, a.Refused), severity: rules.Hold},
			{words: "it is kept on this device and can be mended: trackctl pending"}}}
		m.said = e.said
		return
	}
	if e.state == stateWaiting {
		e.state = stateSent
	}
	if a.Unheard {
		return
	}
	before := e.said
	e.said = said{lines: []spoken{e.said.lines[0]}, findings: len(a.Findings) > 0}
	e.said.lines = append(e.said.lines, findingLines(a.Findings, e.joint)...)
	m.hold(e.joint, a.Findings)
	e.said.lines = append(e.said.lines, spoken{words: "as the server judged it"})
	if len(a.Findings) == 0 {
		e.said.lines[len(e.said.lines)-1].words = "the server has it and found nothing"
	}
	last := e == m.made[len(m.made)-1]
	if last && slices.Equal(m.said.lines, before.lines) || !sameFindings(before, e.said) {
		m.said = e.said
	}
}

// sameFindings says whether both say the same of rules.
func sameFindings(a, b said) bool {
	only := func(s said) []spoken {
		return slices.DeleteFunc(slices.Clone(s.lines), func(l spoken) bool { return l.mark == "" || l.mark == "KEPT" })
	}
	return slices.Equal(only(a), only(b))
}

// undo withdraws the last entry of this shift that stands.
func (m *Model) undo() tea.Cmd {
	if m.keeping {
		m.say("one moment: the entry before is not kept yet")
		return nil
	}
	for i := len(m.made) - 1; i >= 0; i-- {
		e := m.made[i]
		if e.state == stateUndone {
			continue
		}
		m.keeping = true
		m.say("undoing %s …", e.summary)
		return func() tea.Msg { return undoneMsg{e, m.work.Undo(e.id)} }
	}
	m.say("nothing of this shift is left to undo; trackctl undo goes further back")
	return nil
}

func (m *Model) undone(msg undoneMsg) tea.Cmd {
	m.keeping = false
	e := msg.made
	if msg.err != nil {
		m.warn("NOT UNDONE", "%s: %s", e.summary, sentenceOf(msg.err))
	} else {
		if e.state != stateRefused {
			m.count(e, -1)
		}
		e.state = stateUndone
		m.entries++
		if m.screen == nil {
			m.goTo(e.joint)
		}
		m.said = said{lines: []spoken{{mark: "UNDONE", words: e.summary + "; both stay readable"}}}
		e.said = m.said
	}
	if m.ended {
		return tea.Quit
	}
	return nil
}

// sentenceOf is an error as one sentence.
func sentenceOf(err error) string { return strings.TrimSpace(err.Error()) }
