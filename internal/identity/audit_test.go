package identity_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"

	"jointledger/internal/access"
	"jointledger/internal/identity"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
	pb "jointledger/proto/jointledger/v1"
)

// Every administrative act and every refusal is in the audit record, and no secret is.
func TestAuditRecord(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		f := start(t, e, identity.Config{}, nil)
		f.register(t, "nd1", store.Grant{Role: uint8(access.SiteLead), RoleWord: "site-lead", Site: storetest.Denver})
		token, id := f.issue(t, "nd1", time.Time{})
		with := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token)
		if _, err := f.people.GetPerson(with, &pb.GetPersonRequest{Name: storetest.Denver}); err != nil {
			t.Fatal(err)
		}
		for range 3 {
			if _, err := f.people.GetPerson(with, &pb.GetPersonRequest{Name: storetest.Kolkata}); err == nil {
				t.Fatal("a foreign site was signed off")
			}
		}
		wantRefused(t, f.people, token[:30], codes.Unauthenticated, "not one that this server knows")
		for range 2000 {
			wantRefused(t, f.people, "", codes.Unauthenticated, "asks for a token")
		}
		if err := f.store.AddPrincipal(t.Context(), store.Principal{Name: "nd1"}, by); err == nil {
			t.Error("registered twice")
		}

		f.audited(t, "the principal", func(e store.AuditEntry) bool {
			return e.Act == "principal add" && e.Object == "principals/nd1" && e.Principal == by && e.Outcome == store.AuditDone && e.Detail == "site-lead at site "+storetest.Denver
		})
		f.audited(t, "the token", func(e store.AuditEntry) bool {
			return e.Act == "token issue" && e.Object == "principals/nd1" && strings.Contains(e.Detail, id)
		})
		f.audited(t, "what failed", func(e store.AuditEntry) bool {
			return e.Act == "principal add" && e.Outcome == store.AuditFailed && strings.Contains(e.Detail, "already registered")
		})
		var times int64
		denied := f.audited(t, "what was denied", func(e store.AuditEntry) bool {
			if e.Outcome == store.AuditDenied {
				times += e.Times
			}
			return e.Outcome == store.AuditDenied
		})
		if denied.Principal != "nd1" || denied.Credential != id || denied.Object != "sites/"+storetest.Kolkata || denied.Act != "/jointledger.v1.PersonService/GetPerson" ||
			denied.Detail != "may not sign off" || denied.Peer != "127.0.0.1" || denied.RequestID == "" {
			t.Errorf("denied: %+v", denied)
		}
		f.audited(t, "whoever was nobody", func(e store.AuditEntry) bool {
			return e.Outcome == store.AuditUnauthenticated && strings.HasPrefix(e.Detail, "this server asks for a token") && e.Principal == ""
		})
		// All is kept when the store is closed, in few rows.
		c := e.Name
		entries, err := f.store.AuditEntries(t.Context(), store.AuditFilter{Refused: true})
		if err != nil || len(entries) > 10 {
			t.Errorf("%s: %d entries of refusals, %v", c, len(entries), err)
		}
		for _, e := range entries {
			if strings.Contains(e.Detail+e.Act+e.Object, token[:30]) {
				t.Errorf("%+v holds a part of a token", e)
			}
		}
	})
}

// What was counted is kept to the last when the store is closed; what was said is kept
// as it can be shown.
func TestAuditIsWholeAfterClose(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		s, err := store.Open(t.Context(), c)
		if err != nil {
			t.Fatal(err)
		}
		at := time.Now()
		const calls = 5000
		for i := range calls {
			// From one address, and from more than are kept apart.
			s.Audit(store.AuditEntry{Time: at, Peer: "192.0.2.1", Outcome: store.AuditUnauthenticated, Detail: "no token", Act: strings.Repeat("x", i%7)})
			s.Audit(store.AuditEntry{Time: at, Peer: "198.51.100." + strings.Repeat("1", i), Outcome: store.AuditUnauthenticated, Detail: "no token"})
		}
		nasty := "a\x00b\x1b[31m\xff' OR 1=1; DROP TABLE audit_entries; --\u202e../../etc/passwd"
		s.Audit(store.AuditEntry{Time: at, Principal: nasty, Act: nasty, Object: nasty, Outcome: store.AuditDenied, Detail: strings.Repeat("é", 5000)})
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		s = storetest.Open(t, c)
		entries, err := s.AuditEntries(t.Context(), store.AuditFilter{})
		if err != nil {
			t.Fatal(err)
		}
		var times, one int64
		for _, e := range entries {
			if e.Outcome == store.AuditUnauthenticated {
				times += e.Times
				if e.Peer == "192.0.2.1" {
					one += e.Times
				}
			}
			for _, text := range []string{e.Principal, e.Act, e.Object, e.Detail} {
				if strings.ContainsAny(text, "\x00\x1b\n\u202e") || len([]rune(text)) > 1000 {
					t.Errorf("kept as %q", text)
				}
			}
		}
		if times != 2*calls || one != calls || len(entries) > 50 {
			t.Errorf("%d calls, of them %d from one address, in %d entries; expected %d and %d in few", times, one, len(entries), 2*calls, calls)
		}
		if denied, err := s.AuditEntries(t.Context(), store.AuditFilter{Refused: true, Limit: 1}); err != nil || len(denied) != 1 {
			t.Errorf("the newest: %+v, %v", denied, err)
		}
	})
}

// A known principal that is denied things can't fill the disk with that either: what is
// too much to be kept apart is counted, under its name.
func TestAPrincipalDoesNotFillTheAuditRecord(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		s, err := store.Open(t.Context(), c)
		if err != nil {
			t.Fatal(err)
		}
		const calls, methods = 5000, 3
		for i := range calls {
			for m := range methods {
				s.Audit(store.AuditEntry{Time: time.Now(), Principal: "nd1", Credential: "c1", Peer: "192.0.2.1", Outcome: store.AuditDenied,
					Act: fmt.Sprint("/method", m), Object: fmt.Sprint("sites/S", i), Detail: "may not sign off"})
			}
		}
		s.Audit(store.AuditEntry{Time: time.Now(), Principal: "nd2", Outcome: store.AuditDenied, Object: "sites/ASH", Detail: "may not sign off"})
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		s = storetest.Open(t, c)
		entries, err := s.AuditEntries(t.Context(), store.AuditFilter{})
		var times int64
		other := 0
		for _, e := range entries {
			if e.Principal == "nd1" {
				times += e.Times
			} else if e.Object == "sites/ASH" {
				other++
			}
		}
		if err != nil || times != calls*methods || len(entries) > 300 || other != 1 {
			t.Errorf("%d entries of %d refusals, %d of somebody else; %v", len(entries), times, other, err)
		}
	})
}
