package shift

import (
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

func TestOneKeyKeepsAllThatIsLeftOfAJoint(t *testing.T) {
	d := newDevice(6)
	d.joints[0].Left = 5
	m := drive(t, d, with(), 40, 20).press("<enter>")
	m.sees("KEPT: 07:25, J001, 5 fasteners tightened", "5 of 6 left", "> J002")
	r, ok := d.kept[0].(*ledger.Tightening)
	if !ok || len(d.kept) != 1 {
		t.Fatalf("kept %v", d.kept)
	}
	if r.Joint != d.joints[0].Place || r.Fasteners != 5 || r.Lot != "M10-ST-2640C" || r.Treatment != ledger.TreatmentAntiSeize || r.Tool != "TW-RVB-03" ||
		*r.TorqueNewtonMetres != 32 || r.TorqueAsTyped != "32 N.m" || r.Pass != ledger.PassFirst || r.Method != ledger.DrivenByHand {
		t.Errorf("kept %+v", r)
	}
	// The record must not change with what is set later.
	*m.with.TorqueNewtonMetres = 99
	if *r.TorqueNewtonMetres != 32 {
		t.Error("a kept record shares its torque with what is set")
	}
}

func TestNothingIsSaidToBeKeptBeforeItIs(t *testing.T) {
	d := newDevice(3)
	m := drive(t, d, with(), 80, 24)
	cmd := m.key(tea.KeyPressMsg{Code: tea.KeyEnter})
	if cmd == nil || strings.Contains(m.seen(), "KEPT") {
		t.Fatalf("before the disk has it:\n%s", m.seen())
	}
	m.sees("keeping J001", "3 of 3 left", "> J001")
	d.now = d.now.Add(time.Minute)
	if second := m.key(tea.KeyPressMsg{Code: tea.KeyEnter}); second != nil {
		t.Error("a second entry went off before the first was kept")
	}
	d.refuse = errFull
	m.run(cmd)
	m.sees("NOT KEPT: J001, 12 fasteners tightened: the disk is full", "3 of 3 left", "> J001")
	d.refuse = nil
	m.press("<enter>").sees("KEPT", "2 of 3 left")
}

func TestAKeyThatIsHeldDownConfirmsOnce(t *testing.T) {
	d := newDevice(6)
	m := drive(t, d, with(), 40, 20)
	for range 50 {
		m.run(m.key(tea.KeyPressMsg{Code: tea.KeyEnter}))
		d.now = d.now.Add(30 * time.Millisecond)
	}
	if len(d.kept) != 1 {
		t.Errorf("%d entries of a key that was held down", len(d.kept))
	}
	m.press("<enter>")
	if len(d.kept) != 2 {
		t.Errorf("%d entries after it was let go and pressed again", len(d.kept))
	}
}

func TestPart(t *testing.T) {
	d := newDevice(3)
	m := drive(t, d, with(), 40, 20).press("p7<enter>").sees("KEPT: 07:25, J001, 7 fasteners tightened", "> J001 7 of 12")
	m.press("p6<enter>").sees("expected a number from 1 to 5", `got "6"`)
	m.press("<backspace>x0<enter>").sees("expected a number from 1 to 5")
	m.press("<backspace><backspace>5<enter>").sees("J001 12 of 12 done", "> J002")
	m.press("<up>p").sees("all 12 fasteners of J001 are tightened")
	if len(d.kept) != 2 {
		t.Errorf("%d entries", len(d.kept))
	}
}

func TestIncidentInThreeKeys(t *testing.T) {
	d := newDevice(3)
	m := drive(t, d, with(), 40, 20).press("ia2<enter>").sees("KEPT: 07:25, J001, galling, 2 fasteners", "3 of 3 left", "J001 0 of 12")
	r := d.kept[0].(*ledger.Incident)
	if r.Kind != ledger.Galling || r.Fasteners != 2 || r.Lot != "M10-ST-2640C" || r.Treatment != ledger.TreatmentAntiSeize || r.Tool != "TW-RVB-03" || r.Method != ledger.DrivenByHand || r.Joint.Joint != "J001" {
		t.Errorf("kept %+v", r)
	}
	m.press("if<enter>").sees("broken-fastener, 1 fastener")
	m.press("ig<enter>").sees("J001, misaligned-hole")
	if r := d.kept[2].(*ledger.Incident); r.Fasteners != 0 || r.Lot != "" {
		t.Errorf("kept %+v", r)
	}
	m.press("ik").sees("dropped-tool, tool TW-RVB-03")
	if r := d.kept[3].(*ledger.Incident); r.Tool != "TW-RVB-03" {
		t.Errorf("kept %+v", r)
	}
	for i, word := range ledger.IncidentKinds.All() {
		m.press("i" + kindKeys[i:i+1]).sees(word)
		m.press("<esc><esc>")
	}
}

func TestUndoTakesTheLastThatStands(t *testing.T) {
	d := newDevice(3)
	m := drive(t, d, with(), 40, 20).press("u").sees("nothing of this shift is left to undo")
	m.press("<enter>p3<enter>").sees("J001 12 of 12 done", "> J002 3 of 12")
	m.press("u").sees("UNDONE: J002, 3 fasteners tightened", "> J002 0 of 12")
	m.press("u").sees("UNDONE: J001, 12 fasteners tightened", "> J001 0 of 12", "3 of 3 left")
	m.press("u").sees("nothing of this shift is left to undo")
	if len(d.undone) != 2 || d.undone[0] != d.kept[1].Head().ID || d.undone[1] != d.kept[0].Head().ID {
		t.Errorf("undone %v", d.undone)
	}
	m.press("<enter>")
	d.refuse = errFull
	m.press("u").sees("NOT UNDONE: J001, 12 fasteners tightened: the disk is full", "2 of 3 left")
}

func TestSealGoesInFirst(t *testing.T) {
	d := newDevice(4)
	m := drive(t, d, with(), 40, 20).press("4<enter>").sees("> J004 0 of 12 to seal first", "Enter seal")
	m.press("<enter>").sees("J004: seal", "sealant strip", "Enter next line")
	m.press("se-05<enter>25.4<enter>11.5<enter>12 C<enter>0<enter>").sees("expected a relative humidity above 0 and at most 100")
	m.press("<backspace>62%<enter>07.00<enter>corner<enter>").sees("KEPT: 07:25, J004 sealed, strip", "Enter tighten")
	r := d.kept[0].(*ledger.Sealing)
	if r.Sealant != "strip" || r.Batch != "SE-05" || r.WidthMillimetres != 25.4 || *r.SurfaceCelsius != 11.5 || *r.AirCelsius != 12 || *r.HumidityPercent != 62 ||
		!r.CleanTime.Equal(time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC)) || r.Splice != ledger.SpliceCorner {
		t.Errorf("kept %+v", r)
	}
	// What was measured is offered for the next, but the cleaning was of this joint.
	m.press("u<enter>").sees("as typed at 07:2", "surface 11.5", "batch se-05")
	m.press("<enter><enter><enter><enter><enter><enter><enter>").sees("KEPT")
	if r := d.kept[1].(*ledger.Sealing); !r.CleanTime.IsZero() || *r.AirCelsius != 12 {
		t.Errorf("kept %+v", r)
	}
	m.press("s<up><up><up>").sees("J004: seal")
	m.press("<esc>1<enter>s").sees("J001 asks for no sealant")
}

func TestUnitsOfTheSite(t *testing.T) {
	d := newDevice(4)
	work := d.work()
	work.Units = func() ledger.UnitPreference { return ledger.UnitsUSCustomary }
	m := &driven{New(work, with(), false), t, d}
	m.Update(tea.WindowSizeMsg{Width: 80, Height: 24})
	m.Update(m.load()())
	m.sees("23.6 lbf·ft") // 32 N·m / 1.3558179483314004 N·m per lbf·ft = 23.602
	m.press("4<enter>s<enter>1<enter>50<enter>").sees("air")
	m.press("<enter><enter><enter><enter>")
	// NIST SP 811 (2008), appendix B.8 and B.9: 1 in = 25.4 mm, 50 °F = 10 °C.
	if r := d.kept[0].(*ledger.Sealing); r.WidthMillimetres != 25.4 || *r.SurfaceCelsius < 9.999999 || *r.SurfaceCelsius > 10.000001 {
		t.Errorf("kept %+v", r)
	}
	m.press("wk24<enter>").sees("24 lbf.ft")
	if got := *m.with.TorqueNewtonMetres; got < 32.539 || got > 32.540 { // 24 × 1.35582
		t.Errorf("%v N·m", got)
	}
}

func TestFindingsAreSaidAtOnceAndInWords(t *testing.T) {
	figure, limit := 45.0, 35.2
	for _, size := range [][2]int{{40, 20}, {80, 24}, {120, 40}} {
		d := newDevice(20)
		d.findings = []rules.Finding{
			{Rule: "tool-elsewhere", Severity: rules.Warn, Message: "custody says the tool is with kp at HLM", Source: "custody"},
			{Rule: "torque-window", Severity: rules.Hold, Message: "45 N·m is above the window of 28.8 to 35.2 N·m", Figure: &figure, Limit: &limit, Unit: "N·m", Source: "BOLT-M10 revision 2"},
		}
		m := drive(t, d, with(), size[0], size[1]).press("<enter>")
		m.sees("KEPT: ", "HOLD: 45 N·m is above the window of 28.8 to 35.2 N·m", "WARN: custody says the tool is with kp at HLM",
			"J001 is on hold until released; u undoes", "by data of 07:15")
		if seen := m.seen(); strings.Index(seen, "HOLD") > strings.Index(seen, "WARN") {
			t.Errorf("the hold does not come first:\n%s", seen)
		}
		m.press("f").sees("torque-window; limit 35.2 N·m; source: BOLT-M10 revision 2", "tool-elsewhere; source: custody")
		if got := m.joints[0].Holds; len(got) != 1 || got[0] != "torque-window" {
			t.Errorf("the joint is on hold by %v", got)
		}
		// It stands in nobody's way.
		m.press("<esc><enter>").sees("KEPT: 07:25, J002")
	}
}

func TestTheServersAnswer(t *testing.T) {
	d := newDevice(4)
	m := drive(t, d, with(), 40, 20).press("<enter><enter>").sees("2 of 4 left")
	first, second := d.kept[0].Head().ID, d.kept[1].Head().ID
	m.Update(standingMsg{Standing{Known: true, Online: true, Since: morning, LastSent: d.now, Answers: []Answer{{ID: first}}}})
	m.sees("KEPT: 07:25, J002") // nothing new was found: what was said last stays
	m.press("e").sees("J001, 12 fasteners tightened: sent", "J002, 12 fasteners tightened: waiting to be sent")
	m.press("<esc>")
	found := []rules.Finding{{Rule: "lot-held", Severity: rules.Hold, Message: "lot M10-ST-2640C is quarantined"}}
	m.Update(standingMsg{Standing{Known: true, Online: true, Answers: []Answer{{ID: second, Findings: found}}}})
	m.sees("HOLD: lot M10-ST-2640C is quarantined", "as the server judged it", "J002 is on hold")
	m.press("<enter>")
	third := d.kept[2].Head().ID
	m.Update(standingMsg{Standing{Known: true, Online: true, Refused: 1, Answers: []Answer{{ID: third, Refused: "lot X is not known"}}}})
	m.sees("REFUSED: by the server: J003, 12 fasteners tightened: lot X is not known", "1 REFUSED", "> J004")
	if m.joints[2].Left != 12 {
		t.Errorf("%d left of a joint whose entry was refused", m.joints[2].Left)
	}
	m.press("e").sees("J003, 12 fasteners tightened: REFUSED")
	m.press("<esc>u").sees("UNDONE: J003")
	if m.joints[2].Left != 12 {
		t.Errorf("%d left after undoing what was refused", m.joints[2].Left)
	}
	if stand, waiting := m.Made(); stand != 2 || waiting != 0 {
		t.Errorf("%d stand, %d wait", stand, waiting)
	}
}

// The server may answer before the disk's answer was taken in: neither is lost.
func TestAnAnswerThatComesEarly(t *testing.T) {
	d := newDevice(3)
	m := drive(t, d, with(), 80, 24)
	msg := m.key(tea.KeyPressMsg{Code: tea.KeyEnter})()
	m.Update(standingMsg{Standing{Known: true, Online: true, Answers: []Answer{{ID: d.kept[0].Head().ID}}}})
	m.Update(msg)
	m.sees("KEPT: ", "the server has it and found nothing").press("e").sees("12 fasteners tightened: sent")
}

// Whoever types on while the entry before is still on its way to the disk writes about
// the joint that is named on the screen.
func TestTypingAheadStaysAtTheJoint(t *testing.T) {
	for keys, want := range map[string]string{"p3<enter>": "J001, 3 fasteners", "ia<enter>": "J001, galling"} {
		d := newDevice(3)
		d.joints[0].Fasteners = 24
		m := drive(t, d, with(), 40, 20)
		on := m.key(tea.KeyPressMsg{Code: tea.KeyEnter}) // all 12 that are left, not yet on the disk
		m.press(keys[:len(keys)-len("<enter>")])
		m.run(on)
		m.joints[0].Left = 12 // another crew's fasteners came to be counted meanwhile
		m.sees("J001").press("<enter>").sees("KEPT: ", want)
		if got := jointOf(d.kept[1]); got != jointOf(d.kept[0]) {
			t.Errorf("%s: kept at %v", keys, got)
		}
	}
}

func TestWhatTheDeviceDoesNotKnowIsSaid(t *testing.T) {
	d := newDevice(3)
	work := d.work()
	keep := work.Keep
	work.Keep = func(r ledger.Record) (Kept, error) {
		k, err := keep(r)
		k.Remarks, k.DataOf = []string{"the carried data do not know lot M10-X"}, time.Time{}
		return k, err
	}
	m := &driven{New(work, with(), false), t, d}
	m.Update(m.load()())
	m.press("<enter>").sees("KEPT: ", "LOOK: the carried data do not know lot M10-X", "not judged on this device")
}

func TestNoteGoesWithTheNextEntry(t *testing.T) {
	d := newDevice(3)
	m := drive(t, d, with(), 80, 24).press("nrain began<enter>").sees("note: rain began")
	m.press("<enter><enter>")
	if a, b := d.kept[0].Head().Note, d.kept[1].Head().Note; a != "rain began" || b != "" {
		t.Errorf("notes %q, %q", a, b)
	}
}
