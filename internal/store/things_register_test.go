package store_test

import (
	"context"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// given compares things without what the server adds.
var given = cmp.Options{cmpopts.IgnoreTypes(ledger.Revision{}), cmpopts.EquateEmpty()}

func (k kindOfThing[T]) mustGet(t *testing.T, s *store.Store, v T) T {
	t.Helper()
	got, err := k.get(s, context.Background(), v)
	if err != nil {
		t.Fatalf("reading %s: %v", k.resource(v), err)
	}
	return got
}

// changed gives the thing with other content.
func (k kindOfThing[T]) changed(v T) T {
	k.other(&v)
	return v
}

func (k kindOfThing[T]) spoilt(v T) T {
	k.spoil(&v)
	return v
}

func (k kindOfThing[T]) register(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	v := k.fresh(0)

	renamed := v
	k.rename(&renamed)
	before := time.Now().Truncate(time.Microsecond)
	outcomes, err := k.registerAll(s, ctx, []T{v}, store.Change{})
	wantStates(t, outcomes, err, store.Taken)
	kept := k.mustGet(t, s, v)
	if diff := cmp.Diff(v, kept, given); diff != "" {
		t.Errorf("(-registered +read):\n%s", diff)
	}
	rev := *k.revision(&kept)
	if rev.Version != 1 || !rev.CreateTime.Equal(rev.UpdateTime) {
		t.Errorf("revision %+v; expected version 1, created and updated at one moment", rev)
	}
	if rev.CreateTime.Before(before) || rev.CreateTime.After(time.Now()) || rev.CreateTime.Location() != time.UTC {
		t.Errorf("create time %v; expected the present moment in UTC", rev.CreateTime)
	}

	_, err = k.get(s, ctx, renamed)
	wantUnknown(t, err, k.resource(renamed), lastPart(k.short(v)))

	t.Log("one batch: known, other content, not valid, new, twice in the batch, and with other content in the batch")
	next := k.fresh(1)
	outcomes, err = k.registerAll(s, ctx, []T{v, k.changed(v), k.spoilt(k.fresh(2)), next, next, k.changed(next)}, store.Change{})
	wantStates(t, outcomes, err, store.AlreadyKnown, store.Refused, store.Refused, store.Taken, store.AlreadyKnown, store.Refused)
	for _, i := range []int{1, 5} {
		refusal := wantError(t, outcomes[i].Err, ledger.KindExists, ledger.ReasonResourceExists, k.name)
		if want := k.resource([]T{v, next}[i/5]); refusal.Resource != want {
			t.Errorf("refusal names %q; expected %q", refusal.Resource, want)
		}
	}
	refusal := wantError(t, outcomes[2].Err, ledger.KindInvalid, ledger.ReasonInvalidField)
	got := fieldsOf(refusal)
	slices.Sort(got)
	if want := slices.Sorted(slices.Values(k.wrong)); !slices.Equal(got, want) {
		t.Errorf("fields %v; expected all of %v", got, want)
	}
	if diff := cmp.Diff(kept, k.mustGet(t, s, v)); diff != "" {
		t.Errorf("a batch that knew it changed it (-before +after):\n%s", diff)
	}
	if diff := cmp.Diff(next, k.mustGet(t, s, next), given); diff != "" {
		t.Errorf("(-registered +read):\n%s", diff)
	}
	if _, err := k.get(s, ctx, k.fresh(2)); err == nil {
		t.Error("a thing that was refused is there")
	}
}

// lastPart is the part of a place's short form after the last slash.
func lastPart(short string) string {
	for i := len(short) - 1; i >= 0; i-- {
		if short[i] == '/' {
			return short[i+1:]
		}
	}
	return short
}

// unchangedBut runs f and checks that it left the thing as it was.
func (k kindOfThing[T]) unchangedBy(t *testing.T, s *store.Store, v T, what string, f func()) {
	t.Helper()
	before := k.mustGet(t, s, v)
	f()
	if diff := cmp.Diff(before, k.mustGet(t, s, v)); diff != "" {
		t.Errorf("%s changed it (-before +after):\n%s", what, diff)
	}
}

func (k kindOfThing[T]) validateOnly(t *testing.T, e storetest.Engine) {
	ctx := context.Background()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	only := store.Change{ValidateOnly: true}
	v, next := k.fresh(0), k.fresh(1)
	outcomes, err := k.registerAll(s, ctx, []T{v}, store.Change{})
	wantStates(t, outcomes, err, store.Taken)

	outcomes, err = k.registerAll(s, ctx, []T{v, k.changed(v), next, k.spoilt(k.fresh(2))}, only)
	wantStates(t, outcomes, err, store.AlreadyKnown, store.Refused, store.Taken, store.Refused)
	_, err = k.get(s, ctx, next)
	wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)

	k.unchangedBy(t, s, v, "validating a change", func() {
		would, err := k.update(s, ctx, v, 1, only, func(v *T) error { k.other(v); return nil })
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(k.changed(v), would, given); diff != "" {
			t.Errorf("the thing as it would be (-want +got):\n%s", diff)
		}
		if rev := k.revision(&would); rev.Version != 2 {
			t.Errorf("version %d as it would be; expected 2", rev.Version)
		}
		_, err = k.update(s, ctx, v, 7, only, func(*T) error { return nil })
		wantError(t, err, ledger.KindConflict, ledger.ReasonEtagMismatch)
	})

	t.Log("a request that was only validated is not remembered")
	request := store.Change{RequestID: storetest.NewID().String(), ValidateOnly: true}
	outcomes, err = k.registerAll(s, ctx, []T{next}, request)
	wantStates(t, outcomes, err, store.Taken)
	request.ValidateOnly = false
	outcomes, err = k.registerAll(s, ctx, []T{next}, request)
	wantStates(t, outcomes, err, store.Taken)
	k.mustGet(t, s, next)
}
