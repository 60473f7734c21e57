package shift

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

var (
	cell    = ledger.Place{Site: "RVB", Tower: "CT2", Cell: "C3"}
	morning = time.Date(2026, 3, 2, 7, 25, 0, 0, time.UTC)
)

// device stands for the device and the server: a table of what was kept.
type device struct {
	mu       sync.Mutex
	now      time.Time
	joints   []Joint
	kept     []ledger.Record
	undone   []uuid.UUID
	findings []rules.Finding
	refuse   error
	standing Standing
	with     []With
}

func newDevice(joints int) *device {
	d := &device{now: morning, standing: Standing{Known: true, Online: true, Since: morning.Add(-10 * time.Minute), LastSent: morning.Add(-5 * time.Minute)}}
	asked := &ledger.Specification{
		Code: "BOLT-M10", Fastener: ledger.Fastener{Thread: "M10", Material: ledger.Stainless316}, Treatment: ledger.TreatmentAntiSeize,
		TorqueNewtonMetres: 32, TorqueTolerancePercent: 10, TorqueToolRequired: true,
	}
	seam := &ledger.Specification{Code: "SEAM-25", Fastener: ledger.Fastener{Thread: "ST5.5"}, Sealant: "strip", SealWidthMillimetres: 25.4}
	for i := range joints {
		place := cell
		place.Joint = fmt.Sprintf("J%03d", i+1)
		j := Joint{Joint: ledger.Joint{Place: place, Kind: ledger.JointStructural, Specification: "BOLT-M10", Fasteners: 12, PartA: "column B", PartB: "beam 4"}, Asked: asked, Left: 12, State: ledger.JointPlanned}
		switch {
		case i%7 == 3:
			j.Kind, j.Joint.Specification, j.Asked = ledger.JointSeam, seam.Code, seam
		case i%5 == 2:
			j.Critical = true
		}
		d.joints = append(d.joints, j)
	}
	return d
}

func (d *device) work() Work {
	return Work{
		Place: cell, Units: func() ledger.UnitPreference { return ledger.UnitsSI }, Source: "data of 2 Mar 07:15",
		Caution: "The equipment maker's manual, local codes and licensed practice come first.",
		Joints:  func() ([]Joint, error) { return slices.Clone(d.joints), nil },
		Keep: func(r ledger.Record) (Kept, error) {
			d.mu.Lock()
			defer d.mu.Unlock()
			if d.refuse != nil {
				return Kept{}, d.refuse
			}
			r.Head().ID = uuid.NewSHA1(uuid.Nil, []byte{byte(len(d.kept))})
			d.kept = append(d.kept, r)
			d.standing.Waiting++
			return Kept{ID: r.Head().ID, At: d.now, Findings: d.findings, DataOf: morning.Add(-10 * time.Minute)}, nil
		},
		Undo: func(id uuid.UUID) error {
			d.mu.Lock()
			defer d.mu.Unlock()
			d.undone = append(d.undone, id)
			return d.refuse
		},
		Standing: func() Standing { d.mu.Lock(); defer d.mu.Unlock(); return d.standing },
		Lots: func() []Choice {
			return []Choice{{"M10-ST-2640C", "M10 x 40, 316, 940 here"}, {"M10-ST-2711A", "M10 x 40, 316, quarantined"}, {"ST55-0007", "tapping screw"}}
		},
		Tools: func() []Choice {
			return []Choice{{"TW-RVB-03", "torque wrench, due 14 Mar"}, {"TW-RVB-07", "torque wrench"}}
		},
		Batches:  func() []Choice { return nil },
		Remember: func(w With) error { d.with = append(d.with, w); return nil },
		Now:      func() time.Time { return d.now },
	}
}

func with() With {
	torque := 32.0
	return With{Lot: "M10-ST-2640C", Tool: "TW-RVB-03", Treatment: ledger.TreatmentAntiSeize, TorqueNewtonMetres: &torque, TorqueAsTyped: "32 N.m"}
}

// driven is a mode that keys are pressed on without a terminal.
type driven struct {
	*Model
	t *testing.T
	d *device
}

func drive(t *testing.T, d *device, w With, width, height int) *driven {
	t.Helper()
	m := &driven{New(d.work(), w, false), t, d}
	m.Update(tea.WindowSizeMsg{Width: width, Height: height})
	m.Update(m.load()())
	m.Update(standingMsg{d.standing})
	return m
}

var named = map[string]rune{"enter": tea.KeyEnter, "esc": tea.KeyEscape, "down": tea.KeyDown, "up": tea.KeyUp, "backspace": tea.KeyBackspace, "tab": tea.KeyTab}

// press presses keys: a word in angle brackets is a key by its name. A second passes
// before each.
func (m *driven) press(keys string) *driven {
	m.t.Helper()
	for keys != "" {
		k := tea.Key{}
		if name, rest, ok := strings.Cut(keys[1:], ">"); keys[0] == '<' && ok {
			code, known := named[name]
			if !known {
				m.t.Fatalf("no key %q", name)
			}
			k.Code, keys = code, rest
		} else {
			k.Text, keys = keys[:1], keys[1:]
			k.Code = rune(k.Text[0])
		}
		m.d.now = m.d.now.Add(time.Second)
		m.run(m.key(tea.KeyPressMsg(k)))
	}
	return m
}

func (m *driven) key(k tea.KeyPressMsg) tea.Cmd { _, cmd := m.Update(k); return cmd }

// run does what was asked for, and takes its answer.
func (m *driven) run(cmd tea.Cmd) {
	if cmd == nil {
		return
	}
	switch msg := cmd().(type) {
	case keptMsg, undoneMsg, jointsMsg:
		_, next := m.Update(msg)
		m.run(next)
	}
}

// screen is what a person reads, without emphasis.
func (m *driven) seen() string {
	lines := m.frame()
	for i, l := range lines {
		lines[i] = strings.TrimRight(ansi.Strip(l), " ")
	}
	return strings.Join(lines, "\n")
}

func (m *driven) sees(words ...string) *driven {
	m.t.Helper()
	seen := strings.Join(strings.Fields(m.seen()), " ")
	for _, w := range words {
		if !strings.Contains(seen, w) {
			m.t.Fatalf("%q is not on the screen:\n%s", w, m.seen())
		}
	}
	return m
}

var errFull = errors.New("the disk is full")
