package store

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"runtime"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"jointledger/internal/ledger"
)

var errClosed = errors.New("store is closed")

// mostJobs bounds how many waiting requests share one commit, and mostRecords
// how many records: a larger group delays its members more than it saves.
const (
	mostJobs    = 512
	mostRecords = 8000
	mostTries   = 6
	// longestCommit bounds one group with all its tries.
	longestCommit = time.Minute
	// mostConnections is how often a group is begun when the database is lost, with
	// pauses that grow, together about three seconds: long enough for a standby that is
	// being promoted, or for PostgreSQL to recover from the end of one of its processes.
	mostConnections = 5
	reconnectPause  = 100 * time.Millisecond
)

// job is one request to write: a change to things, or records to keep.
type job struct {
	ctx context.Context
	// change runs in the transaction; nil for records.
	change  func(*tx) error
	records []ledger.Record
	// caller is whose records they are; nil for one who may do everything.
	caller *Caller
	// alone keeps a change out of the transaction of others: it locks what they may
	// wait for, and changes nothing of the register.
	alone bool
	// repeatable says that to run the change again, though it may have been kept, gives
	// the same answer: it is recognised by an id. Records always are.
	repeatable bool
	// ahead is what was looked up for the records; nil for nothing.
	ahead *ahead
	// queued is called once the job is in the queue; nil for nobody.
	queued func()
	// outcomes are filled in for records.
	outcomes []Outcome
	done     chan error
}

// writer runs all writes of the store one after the other, the waiting ones
// together in one transaction. On SQLite there is one writer anyway; on
// PostgreSQL it saves commits and keeps servers from competing with themselves.
type writer struct {
	store *Store
	queue chan *job
	// mu guards closed: submit holds it for reading, so that no job can be
	// queued after stop has closed the queue.
	mu     sync.RWMutex
	closed bool
	ended  chan struct{}
	// lineage is the one of what is remembered (lineage.go).
	lineage int64
}

func startWriter(s *Store) *writer {
	w := &writer{store: s, queue: make(chan *job, mostJobs), ended: make(chan struct{})}
	go w.run()
	return w
}

// stop takes no more jobs and returns when those accepted are done.
func (w *writer) stop() {
	w.mu.Lock()
	if !w.closed {
		w.closed = true
		close(w.queue)
	}
	w.mu.Unlock()
	<-w.ended
}

func (w *writer) isStopped() bool {
	w.mu.RLock()
	defer w.mu.RUnlock()
	return w.closed
}

// submit queues the job and waits until it is committed or refused. When the
// context ends first the job may still be kept: the caller sends again and is
// told "already known".
func (w *writer) submit(j *job) (err error) {
	begun := time.Now()
	defer func() { w.store.observer.Transaction(j.ctx, "write", begun, err) }()
	j.done = make(chan error, 1)
	if err := w.enqueue(j); err != nil {
		return err
	}
	if j.queued != nil {
		j.queued()
	}
	select {
	case err := <-j.done:
		return w.store.fault(err)
	case <-j.ctx.Done():
		return j.ctx.Err()
	}
}

func (w *writer) enqueue(j *job) error {
	w.mu.RLock()
	defer w.mu.RUnlock()
	if w.closed {
		return w.store.fault(errClosed)
	}
	select {
	case w.queue <- j:
		return nil
	case <-j.ctx.Done():
		return j.ctx.Err()
	}
}

func (w *writer) run() {
	defer close(w.ended)
	for first := range w.queue {
		group := w.gather(first)
		var alone []*job
		group = slices.DeleteFunc(group, func(j *job) bool {
			if j.alone {
				alone = append(alone, j)
			}
			return j.alone
		})
		// Its error has been given to those who wait.
		_ = w.finish(group)
		for i := range alone {
			_ = w.finish(alone[i : i+1])
		}
	}
}

// finish runs the group in one transaction and answers. When the database is lost
// meanwhile it is run again on the next connection, a bounded number of times; those
// of whom it is not known whether they were kept only where their ids will tell. The
// error is why none of them could be run.
func (w *writer) finish(group []*job) error {
	for try := 1; len(group) > 0; try++ {
		err := w.commitWithRetry(group)
		lost := disconnected(err)
		switch {
		case err == nil, errors.Is(err, errHung), len(group) == 1 && !lost, lost && try == mostConnections:
			answer(group, err)
			return err
		case !lost:
			return w.finishEach(group)
		}
		var undecided *undecidedError
		if errors.As(err, &undecided) {
			group = slices.DeleteFunc(group, func(j *job) bool {
				unknown := j.change != nil && !j.repeatable
				if unknown {
					j.done <- err
				}
				return unknown
			})
		}
		w.store.log.Debug("the database was lost; trying again", "try", try, "cause", err)
		time.Sleep(time.Duration(try*try) * reconnectPause)
	}
	return nil
}

// finishEach runs each of a group on its own, since one of them spoils it for all, or
// asks to be refused. When the database is lost the rest are not kept waiting for it.
func (w *writer) finishEach(group []*job) error {
	for i := range group {
		if err := w.finish(group[i : i+1]); errors.Is(err, errHung) || disconnected(err) {
			answer(group[i+1:], err)
			return err
		}
	}
	return nil
}

func answer(group []*job, err error) {
	for _, j := range group {
		j.done <- err
	}
}

// gather takes what is waiting besides the first, leaving out those whose
// caller has gone.
func (w *writer) gather(first *job) []*job {
	group, records, yields := make([]*job, 0, 8), 0, 0
	for j := first; j != nil; j = w.waiting(&yields) {
		// Those who were told that it is in the queue count on the order: it stays.
		if err := j.ctx.Err(); err != nil && j.queued == nil {
			j.done <- err
			continue
		}
		group = append(group, j)
		records += len(j.records)
		if len(group) >= mostJobs || records >= mostRecords {
			break
		}
	}
	return group
}

// mostYields is how often a group lets others run before it is whole.
const mostYields = 2

// waiting gives a job that waits; nil for none. Before it says so it lets whoever is
// about to submit one do so: under load a group that is larger by them costs less than
// another commit, and without load nobody is waited for.
func (w *writer) waiting(yields *int) *job {
	for {
		select {
		case j := <-w.queue: // nil when it is closed
			return j
		default:
			if *yields == mostYields {
				return nil
			}
			*yields++
			runtime.Gosched()
		}
	}
}

// commitWithRetry runs the group in one transaction, again when it met another
// transaction, at most mostTries times.
func (w *writer) commitWithRetry(group []*job) error {
	// The group's life does not hang on one caller's: those who gave up find
	// their records kept when they send again. But a database that hangs must not
	// keep the writer, and with it a shut-down, for ever.
	ctx, cancel := w.store.engine.writing()
	defer cancel()
	begun := time.Now()
	for try := 1; ; try++ {
		err := w.commit(ctx, group)
		if err != nil && ctx.Err() != nil {
			// Nobody else of the group, and no other try, would fare better now.
			err = fmt.Errorf("%w: %w", errHung, err)
		}
		if err == nil || ctx.Err() != nil || !conflict(err) || try == mostTries {
			w.committed(group, begun, try, err)
			return err
		}
		w.store.log.Debug("transaction met another one; trying again", "try", try, "cause", err)
		time.Sleep(time.Duration(rand.Int64N(int64(try) * int64(10*time.Millisecond))))
	}
}

// commit runs the group in one transaction. A panic in a caller's code fails that
// caller, not the server: no interceptor stands above this goroutine.
func (w *writer) commit(ctx context.Context, group []*job) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic while writing: %v\n%s", p, debug.Stack())
		}
	}()
	s := w.store
	s.prepared.prepare(ctx, s.line)
	begun, conn, release, err := s.line.begin(ctx)
	if err != nil {
		return err
	}
	defer release()
	defer begun.Rollback() // after a commit it does nothing
	w.followLineage()
	t := s.newTx(begun, false)
	t.statements, t.pipe = &s.prepared, s.engine.pipeline(conn)
	var records []ledger.Record
	for _, j := range group {
		if j.change != nil {
			if !j.alone {
				t.touchRegister()
			}
			if err := j.change(t); err != nil {
				return err
			}
		}
		t.of(j.caller, j.records)
		t.ahead = append(t.ahead, j.ahead)
		records = append(records, j.records...)
	}
	var outcomes []Outcome
	if len(records) > 0 {
		if outcomes, err = t.record(ctx, records); err != nil {
			return err
		}
	}
	if err := t.moveEpoch(ctx); err != nil {
		return err
	}
	if err := s.decide(begun); err != nil {
		return err
	}
	s.names.share(t.found)
	if len(records) > 0 {
		s.alarms.wake()
	}
	for _, remember := range t.learned {
		remember()
	}
	for _, j := range group {
		if n := len(j.records); n > 0 {
			j.outcomes, outcomes = outcomes[:n:n], outcomes[n:]
		}
	}
	return nil
}

// change runs f in a transaction of the writer, or in one that reads only when
// the change is to be validated only. When it returns the context's error, f may
// still be running or run later: what f sets is the caller's only after a nil
// error.
func (s *Store) change(ctx context.Context, c Change, f func(*tx) error) error {
	if c.ValidateOnly {
		return s.view(ctx, f)
	}
	return s.writer.submit(&job{ctx: ctx, change: f, repeatable: c.RequestID != ""})
}
