package shift

import (
	"slices"
	"strings"

	tea "charm.land/bubbletea/v2"
)

// keyOf is what a key of the list does.
type keyOf struct {
	// names are those of the keys; shown is how they are written for people.
	names []string
	shown string
	// words say what it does; short where there is little room, empty for a key that
	// is only told on the page of keys.
	words, short string
	do           func(*Model) tea.Cmd
}

func (k *keyOf) takes(name string) bool { return slices.Contains(k.names, name) }

// listKeys are the keys of the list.
func listKeys() []keyOf {
	return []keyOf{
		{[]string{"enter", "t"}, "Enter", "all that are left of the joint are tightened; a joint to be sealed is sealed first", "tighten", (*Model).confirm},
		{[]string{"p"}, "p", "a part of them is tightened: type how many", "part", (*Model).openPart},
		{[]string{"i"}, "i", "something went wrong: a letter for what, then how many", "incident", (*Model).openIncident},
		{[]string{"s"}, "s", "the joint is sealed", "seal", (*Model).openSealing},
		{[]string{"u"}, "u", "undo the last entry of this shift; both stay readable", "undo", (*Model).undo},
		{[]string{"w"}, "w", "lot, treatment, tool, torque that the work is done with", "lot, tool", func(m *Model) tea.Cmd { return m.openWith("") }},
		{[]string{"n"}, "n", "a note that goes with the next entry", "", (*Model).openNote},
		{[]string{"/"}, "0-9 /", "find a joint by the end of its tag", "", func(m *Model) tea.Cmd { m.screen = newFind(m, ""); return nil }},
		{[]string{"f"}, "f", "read what was found, in full", "", (*Model).openSaid},
		{[]string{"e"}, "e", "entries of this shift and what became of them", "", (*Model).openEntries},
		{[]string{"down", "j"}, "j, Down", "the next joint", "", func(m *Model) tea.Cmd { return m.move(1) }},
		{[]string{"up", "k"}, "k, Up", "the joint before", "", func(m *Model) tea.Cmd { return m.move(-1) }},
		{[]string{"pgdown", "space"}, "Space", "a page on", "", func(m *Model) tea.Cmd { return m.move(10) }},
		{[]string{"pgup", "b"}, "b", "a page back", "", func(m *Model) tea.Cmd { return m.move(-10) }},
		{[]string{"home", "g"}, "g", "the first joint", "", func(m *Model) tea.Cmd { return m.move(-len(m.joints)) }},
		{[]string{"end", "G"}, "G", "the last joint", "", func(m *Model) tea.Cmd { return m.move(len(m.joints)) }},
		{[]string{"a"}, "a", "list all joints, or those that are left", "", (*Model).showAll},
		{[]string{"r"}, "r", "read the joints again", "", func(m *Model) tea.Cmd { return m.load() }},
		{[]string{"?"}, "?", "these keys", "keys", (*Model).openKeys},
		{[]string{"q"}, "q q", "end: what is kept stays kept, and is sent later", "end", (*Model).askEnd},
	}
}

// askEnd ends at the second press: a glove hits a key too many now and then.
func (m *Model) askEnd() tea.Cmd {
	if m.ending {
		return m.end()
	}
	m.ending = true
	m.say("q once more ends; what is kept stays kept")
	return nil
}

// shortKeys are the keys below the list.
func (m *Model) shortKeys() []string {
	if j := m.current(); j != nil && j.toSeal() {
		return append([]string{"Enter seal"}, otherKeys()...)
	}
	return append([]string{"Enter tighten"}, otherKeys()...)
}

// otherKeys are those whose work is the same at every joint.
func otherKeys() []string {
	var words []string
	for _, k := range listKeys()[1:] {
		if k.short != "" {
			words = append(words, strings.Fields(k.shown)[0]+" "+k.short)
		}
	}
	return words
}

// openKeys shows what every key does.
func (m *Model) openKeys() tea.Cmd {
	m.screen = &read{title: "keys", make: func(m *Model, width int) []string {
		var lines []string
		for _, k := range listKeys() {
			wrapped := m.wrap(k.shown+": "+k.words, width)
			lines = append(lines, wrapped...)
		}
		lines = append(lines, "")
		lines = append(lines, m.wrap("The joints are by "+m.work.Source+". At the top: since when the device is on-line or off-line, when entries were last sent, how many wait.", width)...)
		return append(lines, m.wrap(m.work.Caution, width)...)
	}}
	return nil
}
