package access_test

import (
	"context"
	"testing"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
)

func TestAllow(t *testing.T) {
	ctx := context.Background()
	for _, p := range []access.Principal{access.Local, access.Bearer} {
		for _, a := range []access.Action{access.Read, access.Register, access.Record, access.Decide, access.Correct, access.Attach, access.RankPeople} {
			if err := access.Allow(access.With(ctx, p), a); err != nil {
				t.Errorf("%s, action %d: %v", p.Name, a, err)
			}
		}
	}
	if err := access.Allow(ctx, access.Read); ledger.AsError(err).Kind != ledger.KindUnauthenticated {
		t.Errorf("without a principal: %v", err)
	}
	// The refusal says in words what may not be done.
	visitor := access.With(ctx, access.Principal{Name: "visitor", Role: 200})
	for a, want := range map[access.Action]string{
		access.Read: "visitor may not read", access.Register: "visitor may not register or change things",
		access.Record: "visitor may not add records", access.Decide: "visitor may not hold, release, decide or sign off",
		access.Correct: "visitor may not correct records", access.Attach: "visitor may not attach files to records",
		access.RankPeople: "visitor may not rank or compare people by name",
	} {
		if err := access.Allow(visitor, a); err == nil || err.Error() != want {
			t.Errorf("action %d: %v; expected %q", a, err, want)
		}
	}
	// What the table does not name is not allowed: a role nobody defined, an
	// action nobody defined.
	for _, c := range []struct {
		p access.Principal
		a access.Action
	}{
		{access.Principal{Name: "visitor", Role: 200}, access.Read},
		{access.Local, 200},
	} {
		err := access.Allow(access.With(ctx, c.p), c.a)
		if e := ledger.AsError(err); e.Kind != ledger.KindDenied || e.Reason != ledger.ReasonPermissionDenied {
			t.Errorf("%+v: %v", c, err)
		}
	}
}
