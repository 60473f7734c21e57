package store

import (
	"context"
	"time"

	"jointledger/internal/ledger"
)

// Observer is told what the store does, to measure it. Its methods must be quick and
// safe for concurrent use.
type Observer interface {
	// Committed is told of each group of waiting requests that shared a transaction.
	Committed(Group)
	// Recorded is told of each record that a committed transaction answered.
	Recorded(kind ledger.RecordKind, state OutcomeState)
	// Transaction is told what each caller waited for: a "read", or a "write" with its
	// time in the queue. The context is the caller's.
	Transaction(ctx context.Context, kind string, begun time.Time, err error)
}

// Group is what the writer ran in one transaction.
type Group struct {
	// Requests and Records are how many shared it; Tries how often it was run, since
	// it met others.
	Requests, Records, Tries int
	// Took is the time of all tries, to the durable commit.
	Took time.Duration
	// Err is what it failed with; nil when it was committed.
	Err error
}

// unobserved measures nothing.
type unobserved struct{}

func (unobserved) Committed(Group)                                       {}
func (unobserved) Recorded(ledger.RecordKind, OutcomeState)              {}
func (unobserved) Transaction(context.Context, string, time.Time, error) {}

func (c Config) observer() Observer {
	if c.Observer != nil {
		return c.Observer
	}
	return unobserved{}
}

// committed tells the observer of a group that was run.
func (w *writer) committed(group []*job, begun time.Time, tries int, err error) {
	g := Group{Requests: len(group), Tries: tries, Took: time.Since(begun), Err: err}
	for _, j := range group {
		g.Records += len(j.records)
		if err != nil {
			continue
		}
		for i, o := range j.outcomes {
			w.store.observer.Recorded(j.records[i].RecordKind(), o.State)
		}
	}
	w.store.observer.Committed(g)
}
