package store_test

import (
	"context"
	"errors"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

func (k kindOfThing[T]) change(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	v := k.fresh(0)
	outcomes, err := k.registerAll(s, ctx, []T{v, k.fresh(1)}, store.Change{})
	wantStates(t, outcomes, err, store.Taken, store.Taken)
	first := k.mustGet(t, s, v)
	edit := func(v *T) error { k.other(v); return nil }
	nothing := func(*T) error { return nil }

	k.unchangedBy(t, s, v, "no difference", func() {
		same, err := k.update(s, ctx, v, 1, store.Change{}, nothing)
		if err != nil || k.revision(&same).Version != 1 {
			t.Errorf("version %d, %v; expected 1", k.revision(&same).Version, err)
		}
	})

	second, err := k.update(s, ctx, v, 1, store.Change{}, edit)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(k.changed(v), second, given); diff != "" {
		t.Errorf("(-want +changed):\n%s", diff)
	}
	old, rev := *k.revision(&first), *k.revision(&second)
	if rev.Version != 2 || !rev.CreateTime.Equal(old.CreateTime) || !rev.UpdateTime.After(old.UpdateTime) {
		t.Errorf("revision %+v after %+v; expected version 2, created as before, updated later", rev, old)
	}
	if diff := cmp.Diff(second, k.mustGet(t, s, v)); diff != "" {
		t.Errorf("(-answered +read):\n%s", diff)
	}
	if diff := cmp.Diff(k.fresh(1), k.mustGet(t, s, k.fresh(1)), given); diff != "" {
		t.Errorf("its neighbour changed too (-before +after):\n%s", diff)
	}

	k.unchangedBy(t, s, v, "a refused change", func() {
		back := func(w *T) error { *w = v; return nil }
		_, err := k.update(s, ctx, v, 1, store.Change{}, back)
		conflict := wantError(t, err, ledger.KindConflict, ledger.ReasonEtagMismatch, k.name)
		if conflict.Resource != k.resource(v) {
			t.Errorf("conflict names %q; expected %q", conflict.Resource, k.resource(v))
		}
		_, err = k.update(s, ctx, v, 3, store.Change{}, back)
		wantError(t, err, ledger.KindConflict, ledger.ReasonEtagMismatch)
		_, err = k.update(s, ctx, v, 2, store.Change{}, func(v *T) error { k.spoil(v); return nil })
		invalid := wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField)
		for _, field := range k.wrong {
			if !slices.Contains(fieldsOf(invalid), field) {
				t.Errorf("fields %v lack %s", fieldsOf(invalid), field)
			}
		}
		mine := ledger.InvalidField("mask", "update_mask", "is not right")
		if _, err = k.update(s, ctx, v, 2, store.Change{}, func(v *T) error { k.other(v); return mine }); !errors.Is(err, mine) {
			t.Errorf("got %v; expected the caller's own error", err)
		}
		_, err = k.update(s, ctx, v, 2, store.Change{}, func(v *T) error { k.rename(v); return nil })
		wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField, k.name)
	})

	t.Log("version 0 is any version")
	third, err := k.update(s, ctx, v, 0, store.Change{}, func(w *T) error {
		created := *k.revision(w)
		*w = v
		*k.revision(w) = created
		return nil
	})
	if err != nil || k.revision(&third).Version != 3 {
		t.Errorf("version %d, %v; expected 3", k.revision(&third).Version, err)
	}
	if diff := cmp.Diff(v, k.mustGet(t, s, v), given); diff != "" {
		t.Errorf("(-want +read):\n%s", diff)
	}

	unknown := v
	k.rename(&unknown)
	_, err = k.update(s, ctx, unknown, 0, store.Change{}, edit)
	wantUnknown(t, err, k.resource(unknown), lastPart(k.short(v)))
}

// requests checks that a request which comes again under its id changes nothing
// (AIP-155), and that its id is not taken for another request.
func (k kindOfThing[T]) requests(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	v := k.fresh(0)
	registering := store.Change{RequestID: storetest.NewID().String(), Digest: [32]byte{1}}
	reused := registering
	reused.Digest = [32]byte{2}

	outcomes, err := k.registerAll(s, ctx, []T{v, k.fresh(1)}, registering)
	wantStates(t, outcomes, err, store.Taken, store.Taken)
	k.unchangedBy(t, s, v, "a repeated request", func() {
		outcomes, err := k.registerAll(s, ctx, []T{v, k.fresh(1)}, registering)
		wantStates(t, outcomes, err, store.AlreadyKnown, store.AlreadyKnown)
	})
	_, err = k.registerAll(s, ctx, []T{k.fresh(2)}, reused)
	invalid := wantError(t, err, ledger.KindInvalid, ledger.ReasonRequestIDReused, registering.RequestID)
	if !slices.Equal(fieldsOf(invalid), []string{"request_id"}) {
		t.Errorf("fields %v; expected request_id", fieldsOf(invalid))
	}
	if _, err := k.get(s, ctx, k.fresh(2)); err == nil {
		t.Error("a thing of a refused request is there")
	}

	changing := store.Change{RequestID: storetest.NewID().String(), Digest: [32]byte{3}}
	edit := func(v *T) error { k.other(v); return nil }
	if _, err := k.update(s, ctx, v, 1, changing, edit); err != nil {
		t.Fatal(err)
	}
	k.unchangedBy(t, s, v, "a repeated request", func() {
		t.Log("the version that the request was made for is long gone, and that is no conflict")
		again, err := k.update(s, ctx, v, 1, changing, edit)
		if err != nil || k.revision(&again).Version != 2 {
			t.Errorf("version %d, %v; expected 2", k.revision(&again).Version, err)
		}
		_, err = k.update(s, ctx, v, 0, reused, func(w *T) error { *w = v; return nil })
		wantError(t, err, ledger.KindInvalid, ledger.ReasonRequestIDReused)
	})

	t.Log("a request that failed is not remembered: it may be sent again")
	failing := store.Change{RequestID: storetest.NewID().String(), Digest: [32]byte{4}}
	_, err = k.update(s, ctx, v, 1, failing, edit)
	wantError(t, err, ledger.KindConflict, ledger.ReasonEtagMismatch)
	if got, err := k.update(s, ctx, v, 2, failing, func(w *T) error { *w = v; *k.revision(w) = ledger.Revision{}; return nil }); err != nil || k.revision(&got).Version != 3 {
		t.Errorf("version %d, %v; expected 3", k.revision(&got).Version, err)
	}
}
