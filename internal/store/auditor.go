package store

import (
	"context"
	"sync"
	"time"
)

const (
	// auditDelay is how long entries wait for others, so that many refusals share a
	// commit; auditRetry how long when they could not be kept.
	auditDelay = 250 * time.Millisecond
	auditRetry = 5 * time.Second
	// auditTime bounds one attempt to keep them.
	auditTime = 20 * time.Second
	// strangerWindow is for how long what strangers do alike is counted into one entry.
	strangerWindow = time.Minute
	// What is kept of strangers: so many entries at once, and so many a minute after
	// that. The rest is counted in one entry a minute, so that nobody fills the disk by
	// being refused.
	strangerBurst     = 30
	strangerPerMinute = 10
	// What is kept of one principal that is denied things, each by itself, likewise: one
	// batch can name a thousand sites.
	deniedBurst     = 200
	deniedPerMinute = 60
	// mostUnkept bounds what waits while the database can't be written.
	mostUnkept = 10_000
)

// auditor keeps what is told to it in the audit record, a little later: who is refused
// does not wait for that, nor does anybody else. Entries alike share one, with their
// number.
type auditor struct {
	store *Store
	now   func() time.Time

	mu sync.Mutex
	// waiting are those to be kept next, in the order in which they came.
	waiting []AuditEntry
	at      map[auditKey]int // places in waiting
	// windows are the strangers of whom an entry was kept lately, and what they did since;
	// also what principals were denied that was too much to keep apart.
	windows map[auditKey]*strangers
	// forStrangers and forPrincipals are how many more entries they may have.
	forStrangers  allowance
	forPrincipals map[string]*allowance
	lost          int64

	wake, stopping, ended chan struct{}
	stopOnce              sync.Once
}

// auditKey is what entries have in common that share one.
type auditKey struct {
	principal, credential, peer, act, object, detail string
	outcome                                          AuditOutcome
}

// strangers are calls alike of nobody known, since the window was opened; the first of
// them has an entry already.
type strangers struct {
	opened time.Time
	since  AuditEntry // Times is 0 for none
}

// allowance is how many more entries there may be, and when it was last filled up.
type allowance struct {
	left   float64
	filled time.Time
}

// take takes one entry off; false when there is none left.
func (w *allowance) take(now time.Time, burst, perMinute float64) bool {
	w.left = min(burst, w.left+now.Sub(w.filled).Minutes()*perMinute)
	w.filled = now
	if w.left < 1 {
		return false
	}
	w.left--
	return true
}

// crowd is who came when there were too many to keep apart.
var crowd = auditKey{peer: "(many)", detail: "calls of nobody known that were too many to keep apart", outcome: AuditUnauthenticated}

func startAuditor(s *Store) *auditor {
	a := newAuditor(s, time.Now)
	go a.run()
	return a
}

func newAuditor(s *Store, now func() time.Time) *auditor {
	return &auditor{
		store: s, now: now, at: map[auditKey]int{}, windows: map[auditKey]*strangers{},
		forStrangers: allowance{strangerBurst, now()}, forPrincipals: map[string]*allowance{},
		wake: make(chan struct{}, 1), stopping: make(chan struct{}), ended: make(chan struct{}),
	}
}

// Audit keeps an entry in the audit record, soon: it does not wait for it. Close waits
// for all.
func (s *Store) Audit(e AuditEntry) {
	a := s.auditor
	a.mu.Lock()
	switch e.Outcome {
	case AuditUnauthenticated:
		a.stranger(e)
	case AuditDenied:
		a.denied(e)
	default:
		a.add(e, keyOf(e))
	}
	a.mu.Unlock()
	select {
	case a.wake <- struct{}{}:
	default:
	}
}

func keyOf(e AuditEntry) auditKey {
	return auditKey{e.Principal, e.Credential, e.Peer, e.Act, e.Object, e.Detail, e.Outcome}
}

// denied keeps what a principal may not do. What is too much to be kept apart is counted
// in one entry a minute for each method: whoever it was stays known, and what it wanted.
// Callers hold mu.
func (a *auditor) denied(e AuditEntry) {
	left := a.forPrincipals[e.Principal]
	if left == nil {
		left = &allowance{deniedBurst, a.now()}
		a.forPrincipals[e.Principal] = left
	}
	_, alike := a.at[keyOf(e)]
	if alike || left.take(a.now(), deniedBurst, deniedPerMinute) {
		a.add(e, keyOf(e))
		return
	}
	k := auditKey{principal: e.Principal, credential: e.Credential, act: e.Act, outcome: e.Outcome}
	w := a.windows[k]
	if w == nil {
		w = &strangers{opened: a.now()}
		a.windows[k] = w
	}
	if peer := w.since.Peer; w.since.Times > 0 && peer != e.Peer {
		w.since.Peer = crowd.peer
	}
	e.Object, e.RequestID, e.Detail = "", "", e.Detail+", with more that was too much to keep apart"
	w.count(e, 1)
}

// add puts an entry to those that wait, or counts it into one alike. Callers hold mu.
func (a *auditor) add(e AuditEntry, k auditKey) {
	e.Times = max(e.Times, 1)
	if e.Last.IsZero() {
		e.Last = e.Time
	}
	if i, ok := a.at[k]; ok {
		a.waiting[i].Times += e.Times
		a.waiting[i].Last = e.Last
		return
	}
	if len(a.waiting) >= mostUnkept {
		a.lost += e.Times
		return
	}
	a.at[k] = len(a.waiting)
	a.waiting = append(a.waiting, e)
}

// stranger keeps or counts a call of nobody known. Where it came from and why it was
// refused tell it from others; what it asked for does not, since that is any text.
// Callers hold mu.
func (a *auditor) stranger(e AuditEntry) {
	k := auditKey{peer: e.Peer, detail: e.Detail, outcome: e.Outcome}
	if w := a.windows[k]; w != nil {
		w.count(e, 1)
		return
	}
	if a.allowed() {
		a.windows[k] = &strangers{opened: a.now()}
		a.add(e, k)
		return
	}
	a.crowd(e, 1)
}

// crowd counts calls that can't be kept apart. Callers hold mu.
func (a *auditor) crowd(e AuditEntry, times int64) {
	w := a.windows[crowd]
	if w == nil {
		w = &strangers{opened: a.now()}
		a.windows[crowd] = w
	}
	w.count(AuditEntry{Time: e.Time, Last: e.Last, Peer: crowd.peer, Outcome: crowd.outcome, Detail: crowd.detail}, times)
}

func (w *strangers) count(e AuditEntry, times int64) {
	last := e.Last
	if last.IsZero() {
		last = e.Time
	}
	if w.since.Times == 0 {
		w.since = e
	}
	w.since.Times += times
	w.since.Last = last
}

// allowed takes one entry off what strangers may have. Callers hold mu.
func (a *auditor) allowed() bool {
	return a.forStrangers.take(a.now(), strangerBurst, strangerPerMinute)
}

// closeWindows makes entries of what was counted in windows that are over, or in all of
// them. Callers hold mu.
func (a *auditor) closeWindows(all bool) {
	for k, w := range a.windows {
		if k == crowd || !all && a.now().Sub(w.opened) < strangerWindow {
			continue
		}
		delete(a.windows, k)
		switch {
		case w.since.Times == 0:
		case k.principal != "":
			a.add(w.since, k)
		case all || a.allowed():
			a.add(w.since, k)
			if !all {
				a.windows[k] = &strangers{opened: a.now()}
			}
		default:
			a.crowd(w.since, w.since.Times)
		}
	}
	if w := a.windows[crowd]; w != nil && (all || a.now().Sub(w.opened) >= strangerWindow) {
		delete(a.windows, crowd)
		a.add(w.since, crowd)
	}
}

// take gives what waits, and begins anew.
func (a *auditor) take(all bool) (waiting []AuditEntry, windows bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.closeWindows(all)
	waiting, a.waiting = a.waiting, nil
	clear(a.at)
	return waiting, len(a.windows) > 0
}

// run keeps what waits until the end.
func (a *auditor) run() {
	defer close(a.ended)
	for {
		waiting, windows := a.take(false)
		if !a.keep(waiting) {
			a.pause(auditRetry)
		}
		if a.isStopping() {
			break
		}
		if windows {
			a.pause(strangerWindow/6, a.wake)
		} else {
			a.pause(0, a.wake)
		}
		a.pause(auditDelay)
	}
	waiting, _ := a.take(true)
	if !a.keep(waiting) {
		a.mu.Lock()
		a.store.log.Error("entries of the audit record are lost: the database can't be written", "entries", len(a.waiting))
		a.mu.Unlock()
	}
}

// pause waits for a time, for a signal or for the end, whatever comes first; for no
// time where d is 0.
func (a *auditor) pause(d time.Duration, wake ...chan struct{}) {
	var signal chan struct{}
	if len(wake) > 0 {
		signal = wake[0]
	}
	var over <-chan time.Time
	if d > 0 {
		t := time.NewTimer(d)
		defer t.Stop()
		over = t.C
	}
	select {
	case <-over:
	case <-signal:
	case <-a.stopping:
	}
}

func (a *auditor) isStopping() bool {
	select {
	case <-a.stopping:
		return true
	default:
		return false
	}
}

// keep writes entries; those that can't be written wait again.
func (a *auditor) keep(entries []AuditEntry) bool {
	if len(entries) == 0 {
		return true
	}
	ctx, cancel := context.WithTimeout(context.Background(), auditTime)
	defer cancel()
	err := a.store.writer.submit(&job{ctx: ctx, alone: true, change: func(t *tx) error { return t.writeAudit(ctx, entries) }})
	a.mu.Lock()
	defer a.mu.Unlock()
	if lost := a.lost; lost > 0 {
		a.lost = 0
		a.store.log.Error("refusals are not in the audit record: too many came while the database could not be written", "calls", lost)
	}
	if err == nil {
		return true
	}
	a.store.log.Warn("the audit record can't be written; trying again", "entries", len(entries), "cause", err)
	newer := a.waiting
	a.waiting = nil
	clear(a.at)
	for _, e := range append(entries, newer...) {
		a.add(e, keyOf(e))
	}
	return false
}

// stop keeps what waits and ends.
func (a *auditor) stop() {
	a.stopOnce.Do(func() { close(a.stopping) })
	<-a.ended
}
