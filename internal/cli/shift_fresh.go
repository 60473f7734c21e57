package cli

import (
	"context"
	"sync/atomic"
	"time"

	"jointledger/internal/carry/pack"
	"jointledger/internal/shift"
)

// freshEvery is how often the guided mode brings the carried data up to date while the
// server can be reached: what others do in a few minutes is little, and a poor line is
// for entries.
const freshEvery = 5 * time.Minute

// freshWork keeps the carried data of the guided mode up to date.
type freshWork struct {
	// carried are the data of the site; nil where the device carries none.
	carried atomic.Pointer[pack.Pack]
	// reached wakes it when the server answers.
	reached chan struct{}
	// before are the data that these took the place of: somebody may still read them.
	before *pack.Pack
}

// data are the carried data of the site as they are now; nil where the device carries
// none. They are read at one moment from one of these alone.
func (w *freshWork) data() *pack.Pack { return w.carried.Load() }

// sourceOf says in a few words which data the joints come from.
func sourceOf(p *pack.Pack) string { return "data of " + dateOfData(p) }

// keepFresh brings the carried data up to date once the server is reached first, and
// then from time to time, until ctx ends. It says nothing: what it could not bring is as
// old as the screen says.
func (w *shiftWork) keepFresh(ctx context.Context, fault context.CancelCauseFunc) {
	if w.conn == nil || w.data() == nil {
		return
	}
	defer func() {
		if recover() != nil {
			fault(shift.ErrFault)
		}
	}()
	var tried time.Time
	for {
		select {
		case <-ctx.Done():
			return
		case <-w.reached:
		}
		if now := w.a.now(); tried.IsZero() || now.Sub(tried) >= freshEvery || now.Before(tried) {
			tried = now
			w.refresh(ctx)
		}
	}
}

// refresh brings what has changed at the site, and lets the screen read its joints anew.
func (w *shiftWork) refresh(ctx context.Context) {
	old := w.data()
	site := w.place.Site
	folder, err := w.a.carriedFolder()
	if err != nil {
		return
	}
	if _, err := w.a.bringOver(ctx, folder, site, old); err != nil {
		return
	}
	fresh, err := pack.Open(folder, site)
	if err != nil {
		return
	}
	if _, ok := fresh.Cell(w.place); !ok {
		// A cell does not go away; what was there is the better of the two.
		_ = fresh.Close()
		return
	}
	// What is judged here looks the data up under the same lock.
	w.boxLock.Lock()
	w.a.carried[site] = fresh
	w.boxLock.Unlock()
	w.carried.Store(fresh)
	if w.before != nil {
		_ = w.before.Close() // nobody has read it for as long as the last was there
	}
	w.before = old
	w.mu.Lock()
	w.standing.Data++
	w.standing.Source = sourceOf(fresh)
	w.mu.Unlock()
	poke(w.changed)
}
