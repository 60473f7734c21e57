package shift

import (
	"cmp"
	"strings"

	tea "charm.land/bubbletea/v2"

	"jointledger/internal/ledger"
	"jointledger/internal/quantity"
)

// withScreen chooses what the work is done with.
type withScreen struct{ why string }

// openWith shows what the work is done with; why says what made it necessary.
func (m *Model) openWith(why string) tea.Cmd {
	m.screen = &withScreen{why}
	return nil
}

// withKeys are what may be changed, a letter each.
var withKeys = []struct {
	key, title string
	shown      func(With) string
	open       func(*Model) screen
}{
	{"l", "lot", func(w With) string { return w.Lot }, (*Model).chooseLot},
	{"r", "treatment", func(w With) string { return treatmentWords(w.Treatment) }, (*Model).chooseTreatment},
	{"b", "its batch", func(w With) string { return w.Batch }, (*Model).chooseBatch},
	{"t", "tool", func(w With) string { return w.Tool }, (*Model).chooseTool},
	{"k", "torque set", func(w With) string { return w.TorqueAsTyped }, (*Model).askTorque},
	{"m", "driven by", func(w With) string { return ledger.DrivingMethods.Name(w.Method) }, (*Model).chooseMethod},
}

func (s *withScreen) key(m *Model, k tea.KeyPressMsg) tea.Cmd {
	switch name := k.String(); name {
	case "esc", "enter", "q", "w":
		m.screen = nil
	default:
		for _, w := range withKeys {
			if w.key == name {
				m.screen = w.open(m)
			}
		}
	}
	return nil
}

func (s *withScreen) lines(m *Model, width, _ int) []string {
	lines := []string{bold(m.fit("the work is done with", width))}
	if s.why != "" {
		lines = append(lines, bold(m.fit(s.why, width)))
	}
	for _, w := range withKeys {
		lines = append(lines, m.fit("  "+w.key+"  "+padded(w.title, 12)+cmp.Or(w.shown(m.with), "-"), width))
	}
	return append(lines, m.wrap(m.work.Caution, width)...)
}

func (s *withScreen) keys(*Model) []string { return []string{"a letter changes it", "Esc back"} }

// changed takes what is chosen, remembers it and goes back.
func (m *Model) changed(with With) {
	m.with = with
	m.screen = &withScreen{}
	if err := m.work.Remember(with); err != nil {
		m.warn("LOOK", "it holds until this view ends, and can't be kept for the next: %s", sentenceOf(err))
	}
}

func (m *Model) chooseLot() screen {
	return newChoose("lot", m.with.Lot, m.work.Lots(), func(m *Model, code string) {
		with := m.with
		with.Lot = code
		m.changed(with)
	})
}

func (m *Model) chooseTool() screen {
	return newChoose("tool; - for none", m.with.Tool, m.work.Tools(), func(m *Model, code string) {
		with := m.with
		if code != with.Tool {
			with.TorqueNewtonMetres, with.TorqueAsTyped = nil, "" // it was set on another tool
		}
		with.Tool = code
		m.changed(with)
	})
}

func (m *Model) chooseBatch() screen {
	return newChoose("batch of the compound; - for none", m.with.Batch, m.work.Batches(), func(m *Model, code string) {
		with := m.with
		with.Batch = code
		m.changed(with)
	})
}

func (m *Model) chooseTreatment() screen {
	return newChooseWord("thread treatment", ledger.Treatments.All(), func(m *Model, i int) {
		with := m.with
		with.Treatment = ledger.Treatment(i + 1)
		if with.Treatment != m.with.Treatment {
			with.Batch = "" // it was of another compound
		}
		m.changed(with)
	})
}

func (m *Model) chooseMethod() screen {
	return newChooseWord("driven by", ledger.DrivingMethods.All(), func(m *Model, i int) {
		with := m.with
		with.Method = ledger.DrivingMethod(i + 1)
		m.changed(with)
	})
}

func (m *Model) askTorque() screen {
	unit, name := quantity.NewtonMetre, "N.m"
	if m.us() {
		unit, name = quantity.PoundForceFoot, "lbf.ft"
	}
	return &ask{
		title: "torque set on the tool; in " + name + " when no unit is typed", text: m.with.TorqueAsTyped, fresh: true,
		hints: []string{"empty for none", m.work.Caution},
		done: func(m *Model, text string) (string, tea.Cmd) {
			with := m.with
			with.TorqueNewtonMetres, with.TorqueAsTyped = nil, ""
			if text != "" {
				v, err := quantity.ParseTorqueIn(text, unit)
				if err != nil {
					return err.Error(), nil
				}
				if strings.Trim(text, "0123456789.,") == "" {
					text += " " + name
				}
				torque := v.In(quantity.NewtonMetre)
				with.TorqueNewtonMetres, with.TorqueAsTyped = &torque, text
			}
			m.changed(with)
			return "", nil
		},
	}
}

// openNote asks for a note, which goes with the next entry.
func (m *Model) openNote() tea.Cmd {
	m.screen = &ask{
		title: "note that goes with the next entry", text: m.note,
		hints: []string{"empty for none"},
		done: func(m *Model, text string) (string, tea.Cmd) {
			m.note, m.screen = text, nil
			return "", nil
		},
	}
	return nil
}
