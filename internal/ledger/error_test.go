package ledger_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"jointledger/internal/ledger"
)

func TestErrors(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		err  *ledger.Error
		want ledger.Error
		text string
	}{
		{ledger.NotFound("lot", "lots/X", ""), ledger.Error{Kind: ledger.KindNotFound, Reason: ledger.ReasonUnknownResource, Resource: "lots/X"}, `lot "X" is not known`},
		{ledger.NotFound("joint", joint.Resource(), "J015"), ledger.Error{Kind: ledger.KindNotFound, Reason: ledger.ReasonUnknownResource, Resource: joint.Resource()},
			`joint "RVB/CT2/C3/J014" is not known; the nearest known is "J015"`},
		{ledger.Exists("lot", "lots/X"), ledger.Error{Kind: ledger.KindExists, Reason: ledger.ReasonResourceExists, Resource: "lots/X"},
			`lot "X" is already registered with other content; update it instead`},
		{ledger.RecordIDReused("tightenings/019"), ledger.Error{Kind: ledger.KindExists, Reason: ledger.ReasonRecordIDReused, Resource: "tightenings/019"},
			"record id 019 was used before with other content; a record is never changed, make a new one"},
		{ledger.AsError(ledger.InvalidField("question", "start_date", "%q is no date", "x")),
			ledger.Error{Kind: ledger.KindInvalid, Reason: ledger.ReasonInvalidField, Fields: []ledger.FieldError{{Field: "start_date", Description: `"x" is no date`}}},
			`question is not valid: start_date: "x" is no date`},
		{ledger.AsError(errors.New("secret")), ledger.Error{Kind: ledger.KindInternal, Reason: ledger.ReasonInternal}, "internal error"},
	} {
		if diff := cmp.Diff(c.want, *c.err, cmpopts.IgnoreFields(ledger.Error{}, "Message", "Cause")); diff != "" || c.err.Error() != c.text {
			t.Errorf("%q; expected %q (-want +got):\n%s", c.err, c.text, diff)
		}
	}
	cause := errors.New("secret")
	if !errors.Is(ledger.AsError(cause), cause) {
		t.Error("the cause is lost")
	}
	mine := ledger.NotFound("lot", "lots/X", "")
	if got := ledger.AsError(fmt.Errorf("reading: %w", mine)); got != mine {
		t.Errorf("%v; expected the error inside", got)
	}
	if ledger.AsError(nil) != nil || ledger.Invalid("lot", nil) != nil {
		t.Error("nothing wrong is an error")
	}
}

func TestRecordNames(t *testing.T) {
	t.Parallel()
	want := []string{"tightenings/", "incidents/", "calibrations/", "lotMovements/", "sealings/", "inspections/", "custodyChanges/", "holds/", "dispositions/", "signOffs/", "corrections/", "toolChecks/", "alarms/"}
	for i, r := range everyRecord() {
		if got := ledger.RecordResource(r); got != want[i]+r.Head().ID.String() {
			t.Errorf("%s; expected %s%s", got, want[i], r.Head().ID)
		}
		if r.RecordKind() != ledger.RecordKind(i+1) || r.SiteCode() != "RVB" {
			t.Errorf("kind %d at %s", r.RecordKind(), r.SiteCode())
		}
	}
	nowhere := &ledger.Incident{Site: "KVR"}
	if nowhere.SiteCode() != "KVR" {
		t.Errorf("an incident at no joint is at %q", nowhere.SiteCode())
	}
	late := time.Date(2026, 1, 1, 0, 0, 0, 1999, time.FixedZone("", 3600))
	if got := ledger.Microseconds(late); got.Nanosecond() != 1000 || got.Location() != time.UTC || got.After(late) {
		t.Errorf("%v in microseconds is %v", late, got)
	}
}
