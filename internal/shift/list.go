package shift

import (
	"fmt"
	"slices"
	"strings"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"

	"jointledger/internal/ledger"
)

// listKey takes a key while the list is in front.
func (m *Model) listKey(k tea.KeyPressMsg) tea.Cmd {
	name := k.String()
	if name != "q" {
		m.ending = false
	}
	if len(name) == 1 && name[0] >= '0' && name[0] <= '9' {
		m.screen = newFind(m, name)
		return nil
	}
	for _, one := range listKeys() {
		if one.takes(name) {
			return one.do(m)
		}
	}
	return nil
}

// listed are the joints that are in the list.
func (m *Model) listed() []int {
	list := make([]int, 0, len(m.joints))
	for i := range m.joints {
		if m.all || !m.joints[i].hidden || i == m.cursor {
			list = append(list, i)
		}
	}
	return list
}

// move takes the cursor so many rows on.
func (m *Model) move(by int) tea.Cmd {
	list := m.listed()
	if at := slices.Index(list, m.cursor); at >= 0 {
		m.cursor = list[max(0, min(len(list)-1, at+by))]
	}
	return nil
}

// showAll lists the joints that are done too, or no longer.
func (m *Model) showAll() tea.Cmd {
	m.all = !m.all
	if m.all {
		m.say("all %d joints are listed; a lists those that are left", len(m.joints))
	} else {
		m.say("the joints that are left are listed; a lists all")
	}
	return nil
}

// current is the joint that keys act on; nil when there is none.
func (m *Model) current() *Joint {
	if m.cursor >= len(m.joints) {
		return nil
	}
	return &m.joints[m.cursor]
}

// at finds a joint by its place; nil when it is not in the cell.
func (m *Model) at(place ledger.Place) *Joint {
	for i := range m.joints {
		if m.joints[i].Place == place {
			return &m.joints[i]
		}
	}
	return nil
}

// goTo puts the cursor on a joint, where it is in the list.
func (m *Model) goTo(place ledger.Place) {
	for i := range m.joints {
		if m.joints[i].Place == place {
			m.cursor = i
		}
	}
}

// next goes to the next joint that has something left, from the top again after
// the last; it stays where nothing is left.
func (m *Model) next() {
	for i := 1; i < len(m.joints); i++ {
		if n := (m.cursor + i) % len(m.joints); !m.joints[n].done() {
			m.cursor = n
			return
		}
	}
}

// left counts the joints that have something left.
func (m *Model) left() int {
	n := 0
	for i := range m.joints {
		if !m.joints[i].done() {
			n++
		}
	}
	return n
}

// listLines shows the joints around the cursor.
func (m *Model) listLines(width, height int) []string {
	switch {
	case !m.loaded:
		return []string{m.fit("reading the joints …", width)}
	case m.loadErr != nil:
		return m.wrap("the joints can't be read: "+m.loadErr.Error(), width)
	case len(m.joints) == 0:
		return m.wrap("there are no joints in "+m.work.Place.String(), width)
	}
	list := m.listed()
	if len(list) == 1 && m.current().hidden {
		return m.wrap("nothing is left in "+m.work.Place.String()+"; a lists all its joints", width)
	}
	at := slices.Index(list, m.cursor)
	m.top = max(min(m.top, at), at-height+1)
	m.top = max(0, min(m.top, len(list)-height))
	tag := 4
	for i := range m.joints {
		tag = max(tag, ansi.StringWidth(m.joints[i].Place.Joint))
	}
	tag = min(tag, max(4, width/3))
	var lines []string
	for _, i := range list[m.top:min(len(list), m.top+height)] {
		line := m.row(&m.joints[i], tag, width-2)
		if i == m.cursor {
			lines = append(lines, reverse(padded("> "+line, width)))
		} else {
			lines = append(lines, "  "+line)
		}
	}
	return lines
}

// row is one joint of the list: how many fasteners it has had, and in words how it
// stands.
func (m *Model) row(j *Joint, tag, width int) string {
	count := fmt.Sprintf("%3d of %-3d", j.Fasteners-j.Left, j.Fasteners)
	parts := []string{padded(m.fit(j.Place.Joint, tag), tag), count}
	if width >= 78 {
		parts = append(parts, padded(m.fit(ledger.JointKinds.Name(j.Kind), 11), 11), padded(m.fit(j.Specification, 10), 10))
	}
	parts = append(parts, strings.Join(standingOf(j), ", "))
	if width >= 100 && j.PartA != "" && j.PartB != "" {
		parts[len(parts)-1] = padded(m.fit(parts[len(parts)-1], 28), 28)
		parts = append(parts, j.PartA+" to "+j.PartB)
	}
	return m.fit(strings.Join(parts, " "), width)
}

// standingOf says in words how a joint stands.
func standingOf(j *Joint) []string {
	var words []string
	if len(j.Holds) > 0 {
		words = append(words, "ON HOLD")
	}
	switch {
	case j.done() && j.State < ledger.JointTightened:
		words = append(words, "done")
	case j.done():
		words = append(words, ledger.JointStates.Name(j.State))
	case j.toSeal() && j.Left == 0:
		words = append(words, "tightened, not sealed")
	case j.toSeal():
		words = append(words, "to seal first")
	case j.Sealed:
		words = append(words, "sealed")
	}
	if j.Critical {
		words = append(words, "critical")
	}
	return words
}

// detail says what the joint asks for, and where the work is done otherwise.
func (m *Model) detail(width int) []string {
	j := m.current()
	if j == nil {
		return nil
	}
	lines := m.wrap(j.Place.Joint+" asks: "+m.asks(j), width)
	if len(j.Holds) > 0 {
		lines = append(lines, m.wrap("ON HOLD: "+strings.Join(j.Holds, ", "), width)...)
	}
	for _, otherwise := range m.otherwise(j) {
		lines = append(lines, m.wrap("LOOK: "+otherwise, width)...)
	}
	return lines
}
