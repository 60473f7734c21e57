package shift

import (
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	tea "charm.land/bubbletea/v2"
	"github.com/charmbracelet/x/ansi"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
)

// Whatever is pressed on a terminal of whatever size, the screen is filled and not
// wider than it, and how things stand is on it.
func TestEveryScreenFits(t *testing.T) {
	keys := []string{"<esc><esc><enter>", "<esc><esc>p1<enter>", "<esc><esc>ia<enter>", "<esc><esc>u", "<enter>", "<esc>", "<up>", "<down>", "<tab>", "<backspace>", "p", "p", "i", "a", "g", "s", "w", "l", "r", "t", "k", "m", "b", "n", "/", "f", "e", "?", "u", "j", "G", "1", "3", "4", "Z", "-"}
	random := rand.New(rand.NewPCG(6, 5))
	for _, ascii := range []bool{false, true} {
		d := newDevice(60)
		long := strings.Repeat("the torque stands above the window × ", 5)
		d.findings = []rules.Finding{{Rule: "torque-window", Severity: rules.Hold, Message: long, Source: long}, {Rule: "clock", Severity: rules.Note, Message: "µ ± 漢字 …"}}
		m := drive(t, d, with(), 40, 20)
		m.ascii = ascii
		for step := range 300 {
			if step%10 == 0 {
				m.Update(tea.WindowSizeMsg{Width: leastWidth + random.IntN(110), Height: leastHeight + random.IntN(40)})
				m.Update(standingMsg{Standing{Known: step%20 == 0, Online: step%40 == 0, Since: morning, Waiting: step, Refused: random.IntN(2) * 12, Trouble: strings.Repeat("the token has expired; ", random.IntN(5))}})
			}
			m.press(keys[random.IntN(len(keys))])
			lines := m.frame()
			if len(lines) != m.height {
				t.Fatalf("step %d: %d lines on %d:\n%s", step, len(lines), m.height, m.seen())
			}
			for _, l := range lines {
				if w := ansi.StringWidth(l); w > m.width {
					t.Fatalf("step %d: a line of %d on %d: %q", step, w, m.width, l)
				}
				if plain := ansi.Strip(l); ascii && strings.ContainsFunc(plain, func(r rune) bool { return r < ' ' || r > '~' }) {
					t.Fatalf("step %d: %q is not ASCII", step, plain)
				}
			}
			if all := ansi.Strip(strings.Join(lines, "\n")); !strings.Contains(all, " waiting") {
				t.Fatalf("step %d: how many wait is not on the screen:\n%s", step, all)
			}
		}
		if len(d.kept) < 10 || len(d.undone) < 2 {
			t.Errorf("only %d entries and %d undone: the keys went nowhere", len(d.kept), len(d.undone))
		}
	}
}

func TestATerminalThatIsTooSmallSaysSo(t *testing.T) {
	m := drive(t, newDevice(3), with(), 20, 5)
	m.sees("the terminal is too small")
	for _, size := range [][2]int{{0, 0}, {1, 1}, {3, 40}, {200, 1}} {
		m.Update(tea.WindowSizeMsg{Width: size[0], Height: size[1]})
		if n := len(m.frame()); n > size[1] {
			t.Errorf("%d lines on %d", n, size[1])
		}
	}
	m.Update(tea.WindowSizeMsg{Width: 40, Height: 20})
	m.sees("3 of 3 left")
}

func TestStanding(t *testing.T) {
	d := newDevice(3)
	m := drive(t, d, with(), 40, 20).sees("on-line 07:15", "sent 07:20", "0 waiting")
	m.Update(standingMsg{Standing{Known: true, Since: morning.Add(-25 * time.Hour), Waiting: 3, Refused: 1, LastSent: morning.Add(-26 * time.Hour)}})
	m.sees("OFF-LINE 1 Mar 06:25", "sent 1 Mar 05:25", "3 waiting", "1 REFUSED")
	m.Update(standingMsg{Standing{Trouble: "the server asks for another token: trackctl setup"}})
	m.sees("looking for the server", "LOOK: the server asks for another token: trackctl setup")
	m.press("?").sees("looking for the server").press("<esc>w").sees("looking for the server")
}

func TestTextFromElsewhereSteersNothing(t *testing.T) {
	d := newDevice(2)
	d.joints[0].Holds = []string{"\x1b[2Jaway\x07\u202eover"}
	d.findings = []rules.Finding{{Rule: "clock", Severity: rules.Warn, Message: "\x1b]0;title\x07\r\nnext"}}
	m := drive(t, d, with(), 80, 24).press("<enter>f")
	for _, l := range m.frame() {
		if strings.ContainsAny(ansi.Strip(l), "\x1b\x07\r\n\u202e") || strings.Contains(l, "\x1b[2J") || strings.Contains(l, "\x1b]") {
			t.Errorf("%q", l)
		}
	}
	m.sees("]0;title")
}

func TestFindByTail(t *testing.T) {
	d := newDevice(130)
	m := drive(t, d, with(), 40, 20).press("14").sees("find …14_", "2 joints fit", "> J014")
	m.press("<tab>").sees("> J114").press("<tab>").sees("> J014").press("<up>").sees("> J114").press("<enter>").sees("> J114", "Enter tighten")
	if len(d.kept) != 0 {
		t.Error("going to a joint kept something")
	}
	m.press("/j09<backspace>9<esc>").sees("> J114")
	m.press("999<enter>").sees("no joint of RVB/CT2/C3 ends in 999", "> J114")
	m.press("G").sees("> J130").press("g").sees("> J001").press("jjjk").sees("> J003")
	for range 40 {
		m.press("j")
	}
	m.sees("> J043")
}

func TestOnlyWhatIsLeftIsListed(t *testing.T) {
	d := newDevice(9)
	for i := range 5 {
		d.joints[i].Left, d.joints[i].Sealed, d.joints[i].State = 0, true, ledger.JointTightened
	}
	m := drive(t, d, with(), 40, 20).sees("> J006", "4 of 9 left")
	missing := func(tags ...string) {
		t.Helper()
		for _, tag := range tags {
			if strings.Contains(m.seen(), tag) {
				t.Fatalf("%s is listed:\n%s", tag, m.seen())
			}
		}
	}
	missing("J001", "J005")
	m.press("<enter>").sees("J006 12 of 12 done", "> J007") // what this shift did stays
	m.press("g").sees("> J006")
	m.press("3<enter>").sees("> J003 12 of 12 tightened").press("jk").sees("> J003") // and what was looked for
	m.press("a").sees("all 9 joints are listed", "J001").press("g").sees("> J001").press("a")
	m.press("jjj").sees("> J007")
	missing("J001")
	for i := range d.joints {
		d.joints[i].Left, d.joints[i].Sealed = 0, true
	}
	n := drive(t, d, with(), 40, 20).sees("nothing is left in RVB/CT2/C3; a lists all its joints", "0 of 9 left")
	n.press("<enter>").press("a").sees("> J001")
}

func TestWithWhatTheWorkIsDone(t *testing.T) {
	d := newDevice(3)
	m := drive(t, d, With{}, 40, 20).sees("NO LOT: w chooses", "no treatment chosen", "no tool")
	m.press("<enter>").sees("choose a lot and a treatment first")
	m.press("l2711<enter>").sees("l lot M10-ST-2711A")
	m.press("r2").sees("r treatment anti-seize").press("tTW-RVB-9<enter>").sees("t tool TW-RVB-9")
	m.press("bas-11<enter>k24 lbf.ft<enter>m3").sees("24 lbf.ft", "impact-then-torque-tool", "its batch AS-11")
	m.press("tTW-RVB-9<enter>").sees("24 lbf.ft") // the same tool again
	m.press("kx<enter>").sees("LOOK: ").press("<esc>").sees("lot M10-ST-2711A", "by impact-then-torque-tool")
	if got := d.with[len(d.with)-1]; got.Lot != "M10-ST-2711A" || got.TorqueAsTyped != "24 lbf.ft" || got.Method != ledger.DrivenByImpactThenTorqueTool {
		t.Errorf("remembered %+v", got)
	}
	m.press("<enter>")
	if r := d.kept[0].(*ledger.Tightening); r.Lot != "M10-ST-2711A" || r.CompoundBatch != "AS-11" || r.Tool != "TW-RVB-9" || r.Method != ledger.DrivenByImpactThenTorqueTool {
		t.Errorf("kept %+v", r)
	}
	m.press("wr1")
	if m.with.Batch != "" {
		t.Error("a compound's batch stays when there is no compound")
	}
	m.press("t03<enter>")
	if m.with.TorqueNewtonMetres != nil || m.with.TorqueAsTyped != "" {
		t.Error("a torque stays when the tool is another")
	}
	m.press("t-<enter>")
	if m.with.Tool != "" {
		t.Errorf("tool %q", m.with.Tool)
	}
	m.press("<esc>").sees("it asks anti-seize, chosen is dry threads")
	m.press("wk60 N.m<enter><esc>").sees("it asks 32 N·m, set is 60 N.m")
	m.press("wk35.2 N.m<enter><esc>")
	if strings.Contains(m.seen(), "it asks 32") {
		t.Error("a torque on the limit of the window is said to be out of it")
	}
	m.press("wlnone such<enter>").sees("l lot NONE SUCH")
}

func TestEscapeThatComesWithTheNextKey(t *testing.T) {
	m := drive(t, newDevice(3), with(), 40, 20).press("i").sees("what went wrong?")
	m.key(tea.KeyPressMsg{Code: 'w', Mod: tea.ModAlt})
	m.sees("the work is done with")
	m.key(tea.KeyPressMsg{Code: tea.KeyDown, Mod: tea.ModAlt})
	m.sees("> J002")
}

func TestEnding(t *testing.T) {
	quits := func(cmd tea.Cmd) bool {
		if cmd == nil {
			return false
		}
		_, ok := cmd().(tea.QuitMsg)
		return ok
	}
	m := drive(t, newDevice(3), with(), 40, 20)
	q, ctrlC := tea.KeyPressMsg{Code: 'q', Text: "q"}, tea.KeyPressMsg{Code: 'c', Mod: tea.ModCtrl}
	if quits(m.key(q)) {
		t.Fatal("one q ends it")
	}
	m.sees("q once more ends").press("j")
	if quits(m.key(q)) {
		t.Fatal("a q after another key ends it")
	}
	if !quits(m.key(q)) {
		t.Fatal("two q do not end it")
	}
	m = drive(t, newDevice(3), with(), 40, 20)
	kept := m.key(tea.KeyPressMsg{Code: tea.KeyEnter})
	if quits(m.key(ctrlC)) {
		t.Fatal("it ends before the entry is on the disk")
	}
	_, after := m.Update(kept())
	if !quits(after) {
		t.Fatal("it does not end once the entry is on the disk")
	}
}

func TestJointsThatCannotBeRead(t *testing.T) {
	d := newDevice(3)
	m := drive(t, d, with(), 40, 20)
	m.Update(jointsMsg{err: errors.New("no signal")})
	m.sees("the joints can't be read again: no signal", "> J001")
	m.press("jj")
	m.Update(m.load()())
	m.sees("> J003") // the joint that keys act on stays
	empty := New(Work{Place: cell, Now: func() time.Time { return morning }}, With{}, false)
	n := &driven{empty, t, d}
	n.Update(jointsMsg{err: errors.New("no signal")})
	n.sees("the joints can't be read: no signal")
	if _, cmd := n.Update(standingMsg{Standing{Known: true}}); cmd == nil {
		t.Error("how things stand is not asked again")
	}
	n.press("<enter>piw<esc>su")
	n.Update(jointsMsg{})
	n.sees("there are no joints in RVB/CT2/C3")
	n.press("<enter>pi")
}

func TestASCIIOnly(t *testing.T) {
	for _, one := range []struct {
		env  map[string]string
		want bool
	}{
		{map[string]string{}, true},
		{map[string]string{"LANG": "en_GB.UTF-8"}, false},
		{map[string]string{"LANG": "C.utf8"}, false},
		{map[string]string{"LANG": "en_GB.UTF-8", "LC_ALL": "C"}, true},
		{map[string]string{"LANG": "C", "LC_CTYPE": "C.UTF-8"}, false},
		{map[string]string{"LANG": "de_DE.ISO-8859-1"}, true},
	} {
		if got := ASCIIOnly(func(n string) string { return one.env[n] }); got != one.want {
			t.Errorf("%v: %t", one.env, got)
		}
	}
}

// Newer data are shown as soon as they are there, but never under somebody who chooses
// or types, nor over an entry that came meanwhile.
func TestNewerJointsAreShown(t *testing.T) {
	d := newDevice(3)
	m := drive(t, d, with(), 80, 24)
	m.sees("3 of 3 left", "by data of 2 Mar 07:15")
	d.joints[2].Left = 0
	d.standing.Data, d.standing.Source = 1, "data of 2 Mar 07:25"
	_, cmd := m.Update(standingMsg{d.standing})
	if cmd == nil {
		t.Fatal("the joints are not read again")
	}
	read := m.load()() // what it asks for, read now
	m.press("w")       // something is chosen
	if _, cmd := m.Update(read); cmd == nil {
		t.Error("the joints that came while something was chosen are forgotten")
	}
	m.press("<esc>").sees("3 of 3 left", "by data of 2 Mar 07:25")
	m.press("<enter>").sees("2 of 3 left") // an entry comes in between
	if _, cmd := m.Update(read); cmd == nil {
		t.Error("the joints that came before an entry are not read again")
	}
	m.sees("2 of 3 left")
	d.joints[0].Left = 0
	m.run(m.load())
	m.sees("1 of 3 left")
}

// A hold that waits to be sent is the one that the server's answer tells of.
func TestAHoldThatWaitsIsOneHold(t *testing.T) {
	d := newDevice(2)
	d.joints[0].Holds = []string{"torque-window (waits to be sent)"}
	m := drive(t, d, with(), 80, 24)
	m.sees("ON HOLD: torque-window (waits to be sent)")
	m.hold(d.joints[0].Place, []rules.Finding{{Rule: "torque-window", Severity: rules.Hold}})
	if holds := m.joints[0].Holds; len(holds) != 1 || holds[0] != "torque-window" {
		t.Errorf("the joint is on hold by %q", holds)
	}
}
