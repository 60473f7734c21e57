package store

import (
	"bytes"
	"context"
	"database/sql"
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
	// find looks up the database's key of the thing, more cheaply than load does;
	// an error of a name that the thing lies in, when that is unknown.
	find func(context.Context, *tx, K) (id int, ok bool, err error)
	// load gives the thing of the key; a ledger.KindNotFound error, with the nearest
	// known name, when there is none.
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
	var result []Outcome
	err := s.change(ctx, c, func(t *tx) error {
		repeated, err := t.repeated(ctx, c)
		if err != nil {
			return err
		}
		outcomes := make([]Outcome, len(items))
		result = outcomes
		kept := false
		for i, item := range items {
			if repeated {
				outcomes[i] = Outcome{State: AlreadyKnown}
				continue
			}
			if outcomes[i], err = registerOne(ctx, t, th, item); err != nil {
				return err
			}
			kept = kept || outcomes[i].State != Refused
		}
		// A refused request may be sent again under the same id, once what stood in
		// its way is mended.
		if !kept {
			return nil
		}
		return t.remember(ctx, c)
	})
	if err != nil {
		return nil, err // and leave result alone: see Store.change
	}
	return result, nil
}

// registerOne takes in one thing; an error is one of the whole batch.
func registerOne[T any, K comparable](ctx context.Context, t *tx, th thing[T, K], item T) (Outcome, error) {
	known, err := keepOne(ctx, t, th, item)
	if e, ok := refusal(err); ok {
		return refused(e), nil
	}
	if known {
		return Outcome{State: AlreadyKnown}, err
	}
	return Outcome{State: Taken}, err
}

// refusal says whether the error refuses one member only.
func refusal(err error) (*ledger.Error, bool) {
	if err == nil {
		return nil, false
	}
	e := ledger.AsError(err)
	return e, e.Kind != ledger.KindInternal && e.Kind != ledger.KindUnavailable && e.Kind != ledger.KindConflict
}

func keepOne[T any, K comparable](ctx context.Context, t *tx, th thing[T, K], item T) (known bool, err error) {
	if err := ledger.Invalid(th.noun.what, th.validate(item)); err != nil {
		return false, err
	}
	_, exists, err := th.find(ctx, t, th.key(item))
	if err != nil {
		return false, err
	}
	if !exists {
		*th.revision(&item) = ledger.Revision{Version: 1, CreateTime: t.now, UpdateTime: t.now}
		return false, th.insert(ctx, t, item)
	}
	old, err := th.load(ctx, t, th.key(item))
	if err == nil && !th.same(old, item) {
		err = ledger.Exists(th.noun.what, th.resource(item))
	}
	return true, err
}

// named says whether there is a thing of a code, number, serial or id.
func named(n noun) func(context.Context, *tx, string) (int, bool, error) {
	return func(ctx context.Context, t *tx, name string) (int, bool, error) { return t.id(ctx, n, 0, name) }
}

// placed says whether there is a tower, cell or joint; what it lies in must
// exist.
func placed(n noun) func(context.Context, *tx, ledger.Place) (int, bool, error) {
	return func(ctx context.Context, t *tx, p ledger.Place) (int, bool, error) {
		keys, err := t.place(ctx, p.Parent())
		if err != nil {
			return 0, false, err
		}
		return t.id(ctx, n, [...]int{0, 0, keys.site, keys.tower, keys.cell}[p.Depth()], p.Last())
	}
}

// hold keeps other servers from changing the thing until the commit, so that
// what is read now is what is changed.
func (th thing[T, K]) hold(ctx context.Context, t *tx, key K) error {
	id, ok, err := th.find(ctx, t, key)
	if err != nil || !ok || t.dry {
		return err
	}
	return t.query(ctx, func(*sql.Rows) error { return nil },
		"SELECT id FROM "+th.noun.table+" WHERE id = ?"+t.engine.lockRows(th.noun.table), id)
}

// change applies an edit to one thing. version 0 means any.
func change[T any, K comparable](ctx context.Context, s *Store, th thing[T, K], key K, version int, c Change, apply func(*T) error) (T, error) {
	var result T
	err := s.change(ctx, c, func(t *tx) error {
		if err := th.hold(ctx, t, key); err != nil {
			return err
		}
		old, err := th.load(ctx, t, key)
		if err != nil {
			return err
		}
		repeated, err := t.repeated(ctx, c)
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
		if th.key(edited) != key {
			return ledger.InvalidField(th.noun.what, "name", "can't be changed; register another %s instead", th.noun.what)
		}
		if err := ledger.Invalid(th.noun.what, th.validate(edited)); err != nil {
			return err
		}
		if err := t.remember(ctx, c); err != nil {
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
	if err != nil {
		var none T
		return none, err // and leave result alone: see Store.change
	}
	return result, nil
}

// repeated recognises a request that was kept before, by its id.
func (t *tx) repeated(ctx context.Context, c Change) (bool, error) {
	if c.RequestID == "" {
		return false, nil
	}
	known, err := t.ent().RequestKey.Query().Where(requestkey.RequestID(c.RequestID)).Only(ctx)
	switch {
	case ent.IsNotFound(err):
		return false, nil
	case err != nil:
		return false, err
	case bytes.Equal(known.Digest, c.Digest[:]):
		return true, nil
	}
	return false, &ledger.Error{
		Kind: ledger.KindInvalid, Reason: ledger.ReasonRequestIDReused,
		Message: "request id " + c.RequestID + " was used before for another request; make a new one",
		Fields:  []ledger.FieldError{{Field: "request_id", Description: "was used before for another request"}},
	}
}

// remember keeps a request's id in the transaction of its change.
func (t *tx) remember(ctx context.Context, c Change) error {
	if c.RequestID == "" || t.dry {
		return nil
	}
	return t.ent().RequestKey.Create().SetRequestID(c.RequestID).SetDigest(c.Digest[:]).SetCreateTime(micro(t.now)).Exec(ctx)
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
