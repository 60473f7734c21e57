package cli

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/spf13/cobra"
	"golang.org/x/term"
	"google.golang.org/grpc"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	"jointledger/internal/shift"
)

func (a *app) shiftCommand() *cobra.Command {
	cmd := a.command("shift [CELL]", "Work through the joints of a cell with a key for each entry",
		"The joints of the cell that are left, and a key each: one keeps that all fasteners\n"+
			"of a joint are tightened with the lot, the treatment and the tool in hand, one that\n"+
			"something went wrong, one takes the last entry back. What the rules find stands below\n"+
			"at once. Entries are kept on this device before they are said to be, and are sent by\n"+
			"themselves while the server can be reached; whether it can, and how many wait, is\n"+
			"always on the screen. What this device carries of the site is brought up to date\n"+
			"every few minutes meanwhile. CELL is the current place when not given. ? shows the keys.\n\n"+
			"It needs a terminal, of 40 columns and 20 rows or so, also over ssh.\n\n"+caution)
	cmd.Example = "  trackctl shift rvb/ct2/c3\n  trackctl at rvb/ct2/c3 --lot M10-ST-2640C --treatment anti-seize --tool TW-RVB-03 && trackctl shift"
	return a.runs(cmd, a.shift)
}

// shiftWork is what the guided mode does on this device and with the server.
type shiftWork struct {
	a     *app
	place ledger.Place
	// conn is nil where the server is not to be tried.
	conn *grpc.ClientConn

	// box is for keeping; sending has one of its own.
	boxLock sync.Mutex
	box     *outbox.Outbox

	// choices and units come with the joints where nothing is carried.
	choices sync.Map
	units   atomic.Uint32

	standingWork
	freshWork
}

func (a *app) shift(ctx context.Context, args []string) error {
	out, err := a.shiftTerminal()
	if err != nil {
		return err
	}
	w, err := a.shiftWork(ctx, args)
	if err != nil {
		return err
	}
	with, opening, err := a.shiftWith()
	if err != nil {
		return err
	}
	work := w.work(append(opening, w.ageSentences()...))
	// What anything says aside would spoil the screen: it is said afterwards.
	var aside lockedBuffer
	errOut := a.err
	a.err = &aside
	ctx, fault := context.WithCancelCause(ctx)
	sending := sync.WaitGroup{}
	sending.Go(func() { w.keepSending(ctx, fault) })
	sending.Go(func() { w.keepFresh(ctx, fault) })
	m := shift.New(work, with, shift.ASCIIOnly(a.getenv))
	ran := shift.Run(ctx, m, os.Stdin, out, os.Environ())
	fault(nil)
	sending.Wait()
	a.err = errOut
	fmt.Fprint(a.err, aside.String())
	// The entries were sent, or tried to be, while it ran.
	a.triedSending = true
	return a.tellShift(m, w, ran)
}

// shiftTerminal is the terminal that the mode is shown on.
func (a *app) shiftTerminal() (*os.File, error) {
	if a.format != output.Table || a.settings.export != "" || a.settings.noInput {
		return nil, usage("shift is for a person at a terminal: it takes no --output, --export or --no-input; in scripts use tighten, incident, seal")
	}
	in, ok := a.in.(*os.File)
	if !ok || !term.IsTerminal(int(in.Fd())) || !isTerminal(os.Stdout) {
		return nil, usage("shift is for a person at a terminal, and this is none; in scripts use tighten, incident, seal")
	}
	return os.Stdout, nil
}

// shiftWork makes ready what the mode needs: the cell, who reports, the outbox, the
// carried data and the way to the server.
func (a *app) shiftWork(ctx context.Context, args []string) (*shiftWork, error) {
	place, err := a.shiftPlace(args)
	if err != nil {
		return nil, err
	}
	if err := a.findPerson(ctx, true); err != nil {
		return nil, err
	}
	box, err := a.deviceOutbox()
	if err != nil {
		return nil, err
	}
	w := &shiftWork{a: a, place: place, box: box}
	p, _, err := a.carriedFor(place.Site)
	if err != nil {
		return nil, err
	}
	w.carried.Store(p)
	if p != nil {
		if _, ok := p.Cell(place); !ok {
			return nil, &failure{code: exitUnknown, message: fmt.Sprintf("the carried data of %s have no cell %s", place.Site, place), lines: []string{"trackctl carry " + place.Site + " brings new ones"}}
		}
	}
	if !a.settings.offlineOnly {
		if w.conn, err = a.dial(); err != nil {
			return nil, err
		}
	} else if p == nil {
		return nil, usage("shift with --offline-only needs carried data: trackctl carry %s", place.Site)
	}
	return w, w.begin()
}

// shiftPlace is the cell that was named, or the current one.
func (a *app) shiftPlace(args []string) (ledger.Place, error) {
	if len(args) > 0 {
		return a.placeHere(args[0], 3)
	}
	here, ok, err := a.here()
	switch {
	case err != nil:
		return here, err
	case !ok:
		return here, usage("expected a cell: trackctl shift CELL, or trackctl at CELL for the whole shift")
	case here.Depth() == 4:
		return here.Parent(), nil
	case here.Depth() < 3:
		return here, usage("the current place %s is a %s: expected a cell, such as %[1]s/…", here, here.PlaceKind())
	}
	return here, nil
}

// work is the mode's side of it.
func (w *shiftWork) work(opening []string) shift.Work {
	work := shift.Work{
		Place: w.place, Caution: caution, Opening: opening, Source: "the server's answer",
		Joints: w.joints, Keep: w.keep, Undo: w.undo, Standing: w.now, Changed: w.changed,
		Units: w.unitsOfSite, Lots: w.lots, Tools: w.tools, Batches: w.batches, Remember: w.a.rememberWith, Now: w.a.now,
	}
	if p := w.data(); p != nil {
		work.Source = sourceOf(p)
		w.units.Store(uint32(p.Site().Units))
	}
	return work
}

// unitsOfSite are those that the site prefers; 0, read as SI, until they are known.
func (w *shiftWork) unitsOfSite() ledger.UnitPreference {
	return ledger.UnitPreference(w.units.Load())
}

func (w *shiftWork) ageSentences() []string {
	p := w.data()
	if p == nil {
		return nil
	}
	return w.a.ageCautions(p)
}

// tellShift says what came of the shift, once the terminal is as it was.
func (a *app) tellShift(m *shift.Model, w *shiftWork, ran error) error {
	stand, _ := m.Made()
	standing := w.now()
	lines := []string{fmt.Sprintf("%s of this shift at %s %s kept", entriesText(stand), w.place, were(stand))}
	if standing.Waiting > 0 {
		lines = append(lines, waitingText(standing.Waiting)+": trackctl send")
	}
	if standing.Refused > 0 {
		lines = append(lines, fmt.Sprintf("%s of this device %s refused by the server: see trackctl pending", entriesText(standing.Refused), were(standing.Refused)))
	}
	_, err := fmt.Fprintln(a.out, strings.Join(lines, "\n"))
	switch {
	case errors.Is(ran, shift.ErrFault):
		return &failure{code: exitInternal, message: "the guided mode ended by a fault of this program; what it said was kept is on this device: trackctl pending --all"}
	case ran != nil:
		return ran
	}
	return err
}

// lockedBuffer takes what several goroutines write.
type lockedBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}
