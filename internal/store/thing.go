package store

import (
	"bytes"
	"context"
	"fmt"

	"jointledger/ent"
	"jointledger/ent/requestkey"
	"jointledger/internal/ledger"
)

// thing is how one kind of thing is registered and changed.
type thing[T any, K comparable] struct {
	noun     noun
	resource func(T) string
	key      func(T) K
	validate func(T) []ledger.FieldError
	// load gives the thing of the key; a ledger.KindNotFound error when there is
	// none.
	load func(context.Context, *tx, K) (T, error)
	// same compares content, leaving out what the server adds.
	same func(a, b T) bool
	// revision gives the part that counts changes.
	revision func(*T) *ledger.Revision
	// insert and update write; both return errors of names that are unknown
	// before they write anything.
	insert func(context.Context, *tx, T) error
	update func(context.Context, *tx, T) error
}

// register takes in things and answers for each.
func register[T any, K comparable](ctx context.Context, s *Store, th thing[T, K], items []T, c Change) ([]Outcome, error) {
	outcomes := make([]Outcome, len(items))
	err := s.change(ctx, c, func(t *tx) error {
		repeated, err := t.request(ctx, c)
		if err != nil {
			return err
		}
		for i, item := range items {
			if repeated {
				outcomes[i] = Outcome{State: AlreadyKnown}
				continue
			}
			outcomes[i] = Outcome{State: Taken}
			known, err := registerOne(ctx, t, th, item)
			if e, ok := refusal(err); ok {
				outcomes[i] = refused(e)
			} else if err != nil {
				return err
			} else if known {
				outcomes[i] = Outcome{State: AlreadyKnown}
			}
		}
		return nil
	})
	return outcomes, err
}

// refusal says whether the error refuses one member only.
func refusal(err error) (*ledger.Error, bool) {
	if err == nil {
		return nil, false
	}
	e := ledger.AsError(err)
	return e, e.Kind != ledger.KindInternal && e.Kind != ledger.KindUnavailable && e.Kind != ledger.KindConflict
}

func registerOne[T any, K comparable](ctx context.Context, t *tx, th thing[T, K], item T) (known bool, err error) {
	if err := ledger.Invalid(th.noun.what, th.validate(item)); err != nil {
		return false, err
	}
	old, err := th.load(ctx, t, th.key(item))
	switch {
	case err == nil && th.same(old, item):
		return true, nil
	case err == nil:
		return false, ledger.Exists(th.noun.what, th.resource(item))
	case !absent(err, th.resource(item)):
		return false, err
	}
	*th.revision(&item) = ledger.Revision{Version: 1, CreateTime: t.now, UpdateTime: t.now}
	return false, th.insert(ctx, t, item)
}

// absent says whether the error is that this very resource does not exist,
// rather than something that it lies in.
func absent(err error, resource string) bool {
	e := ledger.AsError(err)
	return e.Kind == ledger.KindNotFound && e.Resource == resource
}

// change applies an edit to one thing. version 0 means any.
func change[T any, K comparable](ctx context.Context, s *Store, th thing[T, K], key K, version int, c Change, apply func(*T) error) (T, error) {
	var result T
	err := s.change(ctx, c, func(t *tx) error {
		old, err := th.load(ctx, t, key)
		if err != nil {
			return err
		}
		repeated, err := t.request(ctx, c)
		if err != nil || repeated {
			result = old
			return err
		}
		rev := *th.revision(&old)
		if version != 0 && version != rev.Version {
			return &ledger.Error{
				Kind: ledger.KindConflict, Reason: ledger.ReasonEtagMismatch, Resource: th.resource(old),
				Message: fmt.Sprintf("%s %q was changed by somebody else meanwhile; read it again", th.noun.what, ledger.ShortName(th.resource(old))),
			}
		}
		edited := old
		if err := apply(&edited); err != nil {
			return err
		}
		if err := ledger.Invalid(th.noun.what, th.validate(edited)); err != nil {
			return err
		}
		if result = old; th.same(old, edited) {
			return nil
		}
		rev.Version++
		rev.UpdateTime = t.now
		*th.revision(&edited) = rev
		result = edited
		return th.update(ctx, t, edited)
	})
	return result, err
}

// request recognises a repeated request by its id, and remembers a new one in
// the transaction of its change.
func (t *tx) request(ctx context.Context, c Change) (repeated bool, err error) {
	if c.RequestID == "" {
		return false, nil
	}
	known, err := t.ent().RequestKey.Query().Where(requestkey.RequestID(c.RequestID)).Only(ctx)
	switch {
	case err == nil && bytes.Equal(known.Digest, c.Digest[:]):
		return true, nil
	case err == nil:
		return false, &ledger.Error{
			Kind: ledger.KindInvalid, Reason: ledger.ReasonRequestIDReused,
			Message: "request id " + c.RequestID + " was used before for another request; make a new one",
			Fields:  []ledger.FieldError{{Field: "request_id", Description: "was used before for another request"}},
		}
	case !ent.IsNotFound(err):
		return false, err
	case t.dry:
		return false, nil
	}
	return false, t.ent().RequestKey.Create().SetRequestID(c.RequestID).SetDigest(c.Digest[:]).SetCreateTime(micro(t.now)).Exec(ctx)
}

// get reads one thing.
func get[T any, K comparable](ctx context.Context, s *Store, th thing[T, K], key K) (item T, err error) {
	err = s.view(ctx, func(t *tx) error {
		item, err = th.load(ctx, t, key)
		return err
	})
	return item, err
}

// cut ends a page: one more than the page's size was read to see whether there
// is a next one.
func cut[T any](items []T, p Page, key func(T) string) ([]T, string) {
	if len(items) <= p.Size {
		return items, ""
	}
	items = items[:p.Size]
	return items, key(items[p.Size-1])
}

// notFound is the error for a name that is unknown, with the nearest known one.
func (t *tx) notFound(ctx context.Context, n noun, parent int, name, resource string) error {
	near, err := t.nearestName(ctx, n, parent, name)
	if err != nil {
		return err
	}
	return ledger.NotFound(n.what, resource, near)
}
