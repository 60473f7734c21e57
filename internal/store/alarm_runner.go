package store

import (
	"context"
	"errors"
	"sync"
	"time"
)

const (
	// pollAlarms is how often the runner looks for what other servers took in.
	pollAlarms = time.Second
	// leastPause and pauseRatio keep the runner from the way of those who record: it
	// rests after each turn, several times as long as the turn took.
	leastPause = 500 * time.Millisecond
	pauseRatio = 4
)

// alarmRunner applies alarm rules to what has been recorded, beside the writer:
// no record waits for it.
type alarmRunner struct {
	store *Store
	woken chan struct{}
	// stop ends the goroutine; nil while none runs.
	stop  context.CancelFunc
	ended chan struct{}
	// mu guards news, which is closed when this server has raised an alarm.
	mu   sync.Mutex
	news chan struct{}
}

func newAlarmRunner(s *Store) *alarmRunner {
	return &alarmRunner{store: s, woken: make(chan struct{}, 1), news: make(chan struct{})}
}

// RunAlarms begins to apply alarm rules, until the store is closed, while this server
// leads (leader.go). A server calls it once; who only reads does not.
func (s *Store) RunAlarms() {
	ctx, stop := context.WithCancel(context.Background())
	s.alarms.stop, s.alarms.ended = stop, make(chan struct{})
	go func() {
		defer close(s.alarms.ended)
		s.lead.run(ctx, s.alarms.run)
	}()
}

// wake says that something was recorded. It never waits.
func (r *alarmRunner) wake() {
	select {
	case r.woken <- struct{}{}:
	default:
	}
}

// tell says that alarms were raised.
func (r *alarmRunner) tell() {
	r.mu.Lock()
	defer r.mu.Unlock()
	close(r.news)
	r.news = make(chan struct{})
}

// AlarmNews gives a channel that is closed when this server raises the next alarm.
// Alarms of other servers on the database are not told.
func (s *Store) AlarmNews() <-chan struct{} {
	s.alarms.mu.Lock()
	defer s.alarms.mu.Unlock()
	return s.alarms.news
}

// end stops the runner and returns when it has.
func (r *alarmRunner) end() {
	if r.stop != nil {
		r.stop()
		<-r.ended
	}
}

func (r *alarmRunner) run(ctx context.Context) {
	poll := time.NewTimer(0)
	defer poll.Stop()
	failing := false
	for {
		select {
		case <-ctx.Done():
			return
		case <-r.woken:
		case <-poll.C:
		}
		began := time.Now()
		more, err := r.store.AdvanceAlarms(ctx)
		if ctx.Err() != nil {
			return
		}
		// A database that is away is told of once, not every second.
		if err != nil && !failing {
			r.store.log.Warn("alarm rules can't be applied; trying again", "cause", errors.Unwrap(err), "error", err)
		}
		failing = err != nil
		select {
		case <-ctx.Done():
			return
		case <-time.After(max(leastPause, pauseRatio*time.Since(began))):
		}
		if more && err == nil {
			r.wake()
		}
		poll.Reset(pollAlarms)
	}
}

// AdvanceAlarms applies the active alarm rules to a bounded number of records that
// they have not counted yet, and keeps what came of it in one transaction. more
// says that there are others. It is what RunAlarms does again and again; called by
// hand it does no harm. Each record counts once for a rule, however many servers
// call it and wherever one is cut off.
func (s *Store) AdvanceAlarms(ctx context.Context) (more bool, err error) {
	return s.advanceAt(ctx, time.Time{})
}

// advanceAt is AdvanceAlarms at another time than now, for tests of waiting.
func (s *Store) advanceAt(ctx context.Context, now time.Time) (more bool, err error) {
	var work []*advance
	err = s.view(ctx, func(t *tx) error {
		if !now.IsZero() {
			t.now = now
		}
		work, err = t.advanceAlarms(ctx)
		return err
	})
	if err != nil || len(work) == 0 {
		return false, err
	}
	err = s.writer.submit(&job{ctx: ctx, alone: true, repeatable: true, change: func(t *tx) error { return t.commitAlarms(ctx, work) }})
	for _, a := range work {
		more = more || a.more
	}
	return more, err
}
