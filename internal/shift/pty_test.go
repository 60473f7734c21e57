//go:build unix

package shift_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"go.uber.org/goleak"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	"jointledger/internal/shift"
	"jointledger/internal/shift/terminal"
)

// asProgram makes the test's own binary the program in the terminal.
const asProgram = "SHIFT_TEST_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		os.Exit(program())
	}
	goleak.VerifyTestMain(m)
}

// program runs the mode over a device that panics where it is told to.
func program() int {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGTERM)
	defer stop()
	broken := os.Getenv(asProgram)
	joint := ledger.Joint{Place: ledger.Place{Site: "RVB", Tower: "CT2", Cell: "C3", Joint: "J001"}, Fasteners: 12}
	work := shift.Work{
		Place: joint.Place.Parent(), Now: time.Now, Units: func() ledger.UnitPreference { return ledger.UnitsSI }, Caution: "The manual comes first.",
		Joints: func() ([]shift.Joint, error) { return []shift.Joint{{Joint: joint, Left: 12}}, nil },
		Keep: func(ledger.Record) (shift.Kept, error) {
			if broken == "keep" {
				panic("keep is broken")
			}
			found := []rules.Finding{{Rule: "torque-window", Severity: rules.Hold, Message: "45 N·m is beyond 32 N·m ±10 %"}}
			return shift.Kept{ID: uuid.New(), At: time.Now(), DataOf: time.Now(), Findings: found}, nil
		},
		Undo:     func(uuid.UUID) error { return nil },
		Standing: func() shift.Standing { return shift.Standing{Known: true, Since: time.Now()} },
		Lots: func() []shift.Choice {
			if broken == "view" {
				panic("lots are broken")
			}
			return nil
		},
		Remember: func(shift.With) error { return nil },
	}
	m := shift.New(work, shift.With{Lot: "L1", Treatment: ledger.TreatmentNone}, shift.ASCIIOnly(os.Getenv))
	err := shift.Run(ctx, m, os.Stdin, os.Stdout, os.Environ())
	stand, waiting := m.Made()
	fmt.Printf("%d entries, %d waiting\n", stand, waiting)
	switch {
	case errors.Is(err, shift.ErrFault):
		return 70
	case err != nil:
		return 75
	}
	return 0
}

func start(t *testing.T, broken string, env ...string) *terminal.Terminal {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append([]string{asProgram + "=" + broken, "TERM=xterm-256color", "LANG=C.UTF-8", "PATH=" + os.Getenv("PATH")}, env...)
	x := terminal.Start(t, cmd, 40, 20)
	x.See("RVB/CT2/C3 1 of 1 left", "OFF-LINE", "0 waiting", "The manual comes first.")
	return x
}

func TestTheTerminalIsLeftAsItWas(t *testing.T) {
	for _, one := range []struct {
		name, broken string
		end          func(*terminal.Terminal)
		code         int
		says         string
	}{
		{"q twice", "-", func(x *terminal.Terminal) { x.Press("q"); x.See("q once more ends"); x.Press("q") }, 0, "1 entries, 1 waiting"},
		{"Ctrl-C", "-", func(x *terminal.Terminal) { x.Press(terminal.CtrlC) }, 0, "1 entries, 1 waiting"},
		{"TERM", "-", func(x *terminal.Terminal) { x.Signal(syscall.SIGTERM) }, 75, "1 entries, 1 waiting"},
		{"a fault where an entry is kept", "keep", func(*terminal.Terminal) {}, 70, "0 entries"},
		{"a fault where the screen is made", "view", func(x *terminal.Terminal) { x.Press("wl") }, 70, "1 entries"},
	} {
		t.Run(one.name, func(t *testing.T) {
			t.Parallel()
			x := start(t, one.broken)
			x.Press(terminal.Enter)
			if one.broken != "keep" {
				x.See("KEPT: ", "J001, 12 fasteners tightened", "12 of 12")
			}
			one.end(x)
			if code := x.End(true); code != one.code {
				t.Errorf("exit code %d, want %d", code, one.code)
			}
			if !strings.Contains(x.Written(), one.says) {
				t.Errorf("%q is not said after it:\n%s", one.says, strings.Join(x.Seen(), "\n"))
			}
		})
	}
}

// Nothing is told by a colour alone, and none is used where it is not wanted.
func TestColourAndSigns(t *testing.T) {
	coloured := regexp.MustCompile("\x1b\\[([0-9]+;)*3[0-7](;[0-9]+)*m")
	for _, one := range []struct {
		name, env, says string
		colour          bool
	}{
		{"colour", "COLUMNS=", "HOLD: 45 N·m is beyond 32 N·m ±10 %", true},
		{"NO_COLOR", "NO_COLOR=1", "HOLD: 45 N·m is beyond 32 N·m ±10 %", false},
		{"no UTF-8", "LC_ALL=C", "HOLD: 45 N-m is beyond 32 N-m +/-10 %", true},
	} {
		t.Run(one.name, func(t *testing.T) {
			t.Parallel()
			x := start(t, "-", one.env)
			x.Press(terminal.Enter)
			x.See("KEPT: ", one.says, "J001 is on hold until released")
			w := x.Written()
			if got := coloured.MatchString(w); got != one.colour {
				t.Errorf("colour: %t in %q", got, w)
			}
			if one.env == "LC_ALL=C" && strings.ContainsFunc(w, func(r rune) bool { return r > 0x7e }) {
				t.Errorf("signs beyond ASCII: %q", w)
			}
		})
	}
}

func TestItFollowsTheSizeOfTheTerminal(t *testing.T) {
	x := start(t, "-")
	x.Resize(120, 40)
	x.Await("the wide screen", func(text string) bool {
		return strings.Contains(text, "q end") && strings.Contains(text, "last sent") || strings.Contains(text, "none sent")
	})
	x.Resize(30, 12)
	x.See("RVB/CT2/C3", "waiting", "> J001")
	x.Resize(20, 6)
	x.See("the terminal is too small")
	x.Resize(40, 20)
	x.See("? keys", "> J001")
}
