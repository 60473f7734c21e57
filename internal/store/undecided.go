package store

import (
	"context"
	"errors"
)

// undecidedError is a commit that was asked for and not answered: the connection ended,
// or the database would not wait for its standby. What it was to keep may be kept or
// not, and nobody may be told either.
//
// To ask again settles it. Whoever asks again waits for the locks of the transaction
// that is in doubt, finds what it kept by the record's or the request's id, and commits
// a lock on the chain's head or a new epoch of the register: on a synchronous standby
// that commit is answered only when all before it is there too.
type undecidedError struct{ cause error }

func (e *undecidedError) Error() string {
	return "the answer to a commit was lost: " + e.cause.Error()
}

func (e *undecidedError) Unwrap() error { return e.cause }

// errHung is a group that was not committed in the longest time for it: perhaps the
// synchronous standby is away.
var errHung = errors.New("the database did not finish in time")

// decide commits, and says so when it is not known whether it did.
func (s *Store) decide(t transaction) error {
	doubts := s.lineage.doubts.Load()
	err := t.Commit()
	switch {
	case err == nil && s.lineage.doubts.Load() != doubts:
		return &undecidedError{errNotReplicated}
	case outOfSpace(err):
		return err // the embedded database has rolled it back
	case err != nil && (unavailable(err) || errors.Is(err, context.DeadlineExceeded) || errors.Is(err, context.Canceled)):
		return &undecidedError{err}
	}
	return err
}
