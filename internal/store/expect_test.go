package store_test

import (
	"errors"
	"strings"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// ledgerError reads err, which must be one of the domain's errors.
func ledgerError(t testing.TB, err error) *ledger.Error {
	t.Helper()
	var e *ledger.Error
	if !errors.As(err, &e) {
		t.Fatalf("got %v (%T); expected a *ledger.Error", err, err)
	}
	return e
}

// wantError checks the class of an error and that its message has the parts.
func wantError(t testing.TB, err error, kind ledger.Kind, reason ledger.Reason, parts ...string) *ledger.Error {
	t.Helper()
	e := ledgerError(t, err)
	if e.Kind != kind || e.Reason != reason {
		t.Errorf("kind %d, reason %d (%v); expected kind %d, reason %d", e.Kind, e.Reason, e, kind, reason)
	}
	for _, p := range parts {
		if !strings.Contains(e.Message, p) {
			t.Errorf("message %q lacks %q", e.Message, p)
		}
	}
	return e
}

// wantUnknown checks that a resource is reported as unknown, with the nearest
// known name.
func wantUnknown(t *testing.T, err error, resource, nearest string) {
	t.Helper()
	e := wantError(t, err, ledger.KindNotFound, ledger.ReasonUnknownResource)
	if e.Resource != resource {
		t.Errorf("resource %q; expected %q", e.Resource, resource)
	}
	if nearest != "" && !strings.Contains(e.Message, `the nearest known is "`+nearest+`"`) {
		t.Errorf("message %q does not name the nearest, %q", e.Message, nearest)
	}
	if nearest == "" && strings.Contains(e.Message, "nearest") {
		t.Errorf("message %q names a nearest where nothing is near", e.Message)
	}
}

// wantStates checks the outcomes of a batch.
func wantStates(t testing.TB, outcomes []store.Outcome, err error, want ...store.OutcomeState) {
	t.Helper()
	if err != nil {
		t.Fatalf("the whole batch failed: %v", err)
	}
	if len(outcomes) != len(want) {
		t.Fatalf("%d outcomes; expected %d", len(outcomes), len(want))
	}
	for i, o := range outcomes {
		if o.State != want[i] {
			t.Errorf("outcome %d: state %d (%v); expected %d", i, o.State, o.Err, want[i])
		}
		if (o.Err != nil) != (o.State == store.Refused) {
			t.Errorf("outcome %d: state %d with error %v", i, o.State, o.Err)
		}
	}
}

// fieldsOf gives the fields that an error names.
func fieldsOf(e *ledger.Error) []string {
	var fields []string
	for _, f := range e.Fields {
		fields = append(fields, f.Field)
	}
	return fields
}
