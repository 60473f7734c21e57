package shift

import (
	"fmt"
	"strings"

	tea "charm.land/bubbletea/v2"

	"jointledger/internal/ledger"
)

// kinds asks what went wrong at the joint: a letter each, so that two keys and
// Enter are a whole entry.
type kinds struct{}

// kindKeys are the letters of the kinds, in the order of their numbers.
const kindKeys = "abcdefghijkl"

func (m *Model) openIncident() tea.Cmd {
	if m.current() != nil {
		m.screen = kinds{}
	}
	return nil
}

func (kinds) key(m *Model, k tea.KeyPressMsg) tea.Cmd {
	name := strings.ToLower(k.String())
	if name == "esc" || name == "q" {
		m.screen = nil
		return nil
	}
	if i := strings.Index(kindKeys, name); i >= 0 && len(name) == 1 {
		return m.openCount(ledger.IncidentKind(i + 1))
	}
	return nil
}

func (kinds) lines(m *Model, width, height int) []string {
	lines := []string{bold(m.fit(m.current().Place.Joint+": what went wrong?", width))}
	names := ledger.IncidentKinds.All()
	if height > len(names) || width < 40 {
		for i, n := range names {
			lines = append(lines, m.fit("  "+kindKeys[i:i+1]+"  "+n, width))
		}
		return lines
	}
	half := (len(names) + 1) / 2
	for i := range half {
		line := padded(m.fit(kindKeys[i:i+1]+" "+names[i], width/2-1), width/2)
		if j := i + half; j < len(names) {
			line += m.fit(kindKeys[j:j+1]+" "+names[j], width-width/2)
		}
		lines = append(lines, line)
	}
	return lines
}

func (kinds) keys(*Model) []string { return []string{"a letter chooses", "Esc back"} }

// openCount asks how many fasteners an incident is about.
func (m *Model) openCount(kind ledger.IncidentKind) tea.Cmd {
	j := m.current()
	word := ledger.IncidentKinds.Name(kind)
	a := &ask{title: fmt.Sprintf("%s, %s: how many fasteners?", j.Place.Joint, word), digits: true, fresh: true}
	least := 0
	switch {
	case kind.ThreadFailure():
		if m.missing() != "" {
			return m.openWith("choose " + m.missing() + " first")
		}
		least, a.text = 1, "1"
		a.hints = []string{"with lot " + m.with.Lot + ", " + treatmentWords(m.with.Treatment)}
	case kind == ledger.DroppedTool:
		if m.with.Tool == "" {
			return m.openWith("choose the tool that was dropped first")
		}
		m.screen = nil
		return m.incident(kind, 0)
	default:
		a.text = "0"
		a.hints = []string{"0 where it is about none"}
	}
	a.done = func(m *Model, text string) (string, tea.Cmd) {
		n, problem := countOf(text, least, max(j.Fasteners, least))
		if problem != "" {
			return problem, nil
		}
		m.screen = nil
		return "", m.incident(kind, n)
	}
	m.screen = a
	return nil
}

// incident keeps that something went wrong at the joint.
func (m *Model) incident(kind ledger.IncidentKind, n int) tea.Cmd {
	j := m.current()
	r := &ledger.Incident{Kind: kind, Site: j.Place.Site, Joint: j.Place, Fasteners: n}
	summary := j.Place.Joint + ", " + ledger.IncidentKinds.Name(kind)
	if kind.ThreadFailure() {
		r.Lot, r.Treatment, r.Tool, r.Method = m.with.Lot, m.with.Treatment, m.with.Tool, m.with.Method
	}
	if kind == ledger.DroppedTool {
		r.Tool = m.with.Tool
		summary += ", tool " + m.with.Tool
	}
	if n > 0 {
		summary += ", " + counted(n, "fastener")
	}
	return m.keep(r, summary)
}
