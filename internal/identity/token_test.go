package identity_test

import (
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"jointledger/internal/access"
	"jointledger/internal/identity"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
	pb "jointledger/proto/jointledger/v1"
)

// tokenForm is what a scanner of repositories would look for.
var tokenForm = regexp.MustCompile(`^jl_[0-9a-v]{12}_[0-9a-v]{52}$`)

func TestTokensAreRandomAndKeptAsDigests(t *testing.T) {
	seen := map[string]bool{}
	for range 1000 {
		token, c := identity.NewToken("nd1")
		if !tokenForm.MatchString(token) || seen[token] || seen[c.ID] {
			t.Fatalf("token %s of credential %s", token, c.ID)
		}
		seen[token], seen[c.ID] = true, true
		if kept := fmt.Sprintf("%+v %s", c, c.Digest); strings.Contains(kept, token[len("jl_")+13:]) {
			t.Fatalf("%s holds the secret", kept)
		}
	}
}

func TestBearerTokens(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		f := start(t, e, identity.Config{}, nil)
		f.register(t, "nd1", everywhere(access.Technician))
		f.register(t, "nobody")
		token, id := f.issue(t, "nd1", time.Time{})
		short, _ := f.issue(t, "nd1", f.clock.now().Add(time.Hour))
		idle, _ := f.issue(t, "nobody", time.Time{})
		f.wantWho(t, token, "nd1")
		f.wantWho(t, short, "nd1")
		wantRefused(t, f.people, idle, codes.PermissionDenied, "nobody may not read")
		wantRefused(t, f.people, "", codes.Unauthenticated, "asks for a token")

		const unknown = "not one that this server knows"
		last := string(token[len(token)-1] ^ 1)
		for _, bad := range []string{
			"x", "jl_", token[:len(token)-1], token + "0", token[:len(token)-1] + last, strings.ToUpper(token), "jl_" + strings.Repeat("0", 12) + "_" + token[16:],
			"jl_' OR '1'='1'--_" + token[16:], "jl_../../etc/pw_" + token[16:], strings.Repeat("j", 5000), token[:15] + "-" + token[16:],
		} {
			wantRefused(t, f.people, bad, codes.Unauthenticated, unknown)
		}
		wantRefused(t, f.people, "a.b.c", codes.Unauthenticated, "takes no tokens of an OpenID Connect issuer")
		for _, header := range [][]string{{"Basic bmQxOng="}, {"Bearer"}, {"Bearer " + token, "Bearer " + token}, {""}} {
			ctx := t.Context()
			for _, h := range header {
				ctx = metadata.AppendToOutgoingContext(ctx, "authorization", h)
			}
			if _, err := f.people.GetPerson(ctx, &pb.GetPersonRequest{}); status.Code(err) != codes.Unauthenticated {
				t.Errorf("header %q: %v", header, err)
			}
		}

		f.clock.move(time.Hour)
		wantRefused(t, f.people, short, codes.Unauthenticated, "expired on ")
		f.wantWho(t, token, "nd1")
		f.revoke(t, id)
		wantRefused(t, f.people, token, codes.Unauthenticated, "(credential "+id+") was revoked on ")
		again, _ := f.issue(t, "nd1", time.Time{})
		if err := f.store.SetPrincipalDisabled(t.Context(), "nd1", true, by); err != nil {
			t.Fatal(err)
		}
		f.clock.move(identity.Longest)
		wantRefused(t, f.people, again, codes.Unauthenticated, "nd1 is disabled")
		if err := f.store.SetPrincipalDisabled(t.Context(), "nd1", false, by); err != nil {
			t.Fatal(err)
		}
		f.clock.move(identity.Longest)
		f.wantWho(t, again, "nd1")
		for _, secret := range []string{token, short, again, token[16:], "jl_' OR"} {
			if strings.Contains(f.log.String(), secret) {
				t.Errorf("the log holds %q", secret)
			}
		}
	})
}

// Who was given a token just now may use it at once; what nobody was given makes no
// reading of the register each time.
func TestANewTokenIsKnownAtOnce(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		f := start(t, e, identity.Config{}, nil)
		f.register(t, "nd1", everywhere(access.Technician))
		first, _ := f.issue(t, "nd1", time.Time{})
		f.wantWho(t, first, "nd1")
		second, _ := f.issue(t, "nd1", time.Time{})
		wantRefused(t, f.people, second, codes.Unauthenticated, "not one that this server knows") // within a tenth of a second
		f.clock.move(100 * time.Millisecond)
		f.wantWho(t, second, "nd1")
		made, _ := identity.NewToken("nd1")
		f.clock.move(100 * time.Millisecond)
		wantRefused(t, f.people, made, codes.Unauthenticated, "not one that this server knows")
		f.wantWho(t, first, "nd1")
	})
}

// What is revoked counts on every server within the time that is told, also where the
// database can't be read any more.
func TestARevocationCountsInTime(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		c := e.NewConfig(t)
		s := storetest.OpenFleet(t, c)
		f, other := serve(t, s, identity.Config{}, nil), serve(t, storetest.Open(t, c), identity.Config{}, nil)
		f.register(t, "nd1", everywhere(access.Technician))
		token, id := f.issue(t, "nd1", time.Time{})
		f.wantWho(t, token, "nd1")
		other.wantWho(t, token, "nd1")
		if err := f.store.RevokeCredential(t.Context(), id, by); err != nil {
			t.Fatal(err)
		}
		other.clock.move(identity.Longest - time.Millisecond)
		wantRefused(t, other.people, token, codes.Unauthenticated, "revoked")
		second, _ := f.issue(t, "nd1", time.Time{})
		other.clock.move(identity.Longest)
		other.wantWho(t, second, "nd1")
		if err := other.store.Close(); err != nil {
			t.Fatal(err)
		}
		other.clock.move(identity.Longest - time.Second - time.Millisecond)
		other.wantWho(t, second, "nd1") // what is known is young enough
		other.clock.move(2 * time.Second)
		wantRefused(t, other.people, second, codes.Unavailable, "")
	})
}

// Grants reach the sites that were named, and those that a region has at the time.
func TestGrantsReachSites(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		f := start(t, e, identity.Config{}, nil)
		f.register(t, "lead", store.Grant{Role: uint8(access.SiteLead), RoleWord: "site-lead", Site: storetest.Denver})
		f.register(t, "manager", store.Grant{Role: uint8(access.RegionalManager), RoleWord: "regional-manager", Region: "south"})
		lead, _ := f.issue(t, "lead", time.Time{})
		manager, _ := f.issue(t, "manager", time.Time{})
		sees := func(token string) string {
			t.Helper()
			r, err := f.people.ListPeople(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token), &pb.ListPeopleRequest{})
			if err != nil {
				return status.Code(err).String()
			}
			var codes []string
			for _, p := range r.GetPeople() {
				codes = append(codes, p.GetName())
			}
			return strings.Join(codes, " ")
		}
		want := func(token, sites string) {
			t.Helper()
			if got := sees(token); got != sites {
				t.Errorf("sees %q; expected %q", got, sites)
			}
		}
		want(lead, storetest.Denver)
		want(manager, storetest.Kolkata)
		if _, err := f.store.UpdateSite(t.Context(), storetest.Denver, 0, store.Change{}, func(s *ledger.Site) error { s.Region = "south"; return nil }); err != nil {
			t.Fatal(err)
		}
		f.clock.move(identity.Longest)
		want(manager, storetest.Kolkata+" "+storetest.Denver)
		south := store.Grant{Role: uint8(access.RegionalManager), RoleWord: "regional-manager", Region: "south"}
		if err := f.store.WithdrawRoles(t.Context(), "manager", []store.Grant{south}, by); err != nil {
			t.Fatal(err)
		}
		f.clock.move(identity.Longest)
		want(manager, "PermissionDenied")
		if err := f.store.WithdrawRoles(t.Context(), "manager", []store.Grant{south}, by); kindOf(err) != ledger.KindNotFound {
			t.Errorf("withdrawn twice: %v", err)
		}
		if err := f.store.GrantRoles(t.Context(), "manager", []store.Grant{south, south}, by); err != nil {
			t.Fatal(err)
		}
		f.clock.move(identity.Longest)
		want(manager, storetest.Kolkata+" "+storetest.Denver)
	})
}

// A server that only its machine reaches asks nobody, until somebody is registered.
func TestOpenUntilSomebodyIsRegistered(t *testing.T) {
	t.Parallel()
	storetest.Each(t, func(t *testing.T, e storetest.Engine) {
		s := storetest.OpenFleet(t, e.NewConfig(t))
		f := serve(t, s, identity.Config{Open: true}, nil)
		asked := serve(t, s, identity.Config{}, nil)
		filed := serve(t, s, identity.Config{Open: true, Token: "0123456789abcdef"}, nil)
		f.wantWho(t, "", "local")
		wantRefused(t, asked.people, "", codes.Unauthenticated, "asks for a token")
		wantRefused(t, filed.people, "", codes.Unauthenticated, "asks for a token")
		filed.wantWho(t, "0123456789abcdef", "bearer")
		wantRefused(t, filed.people, "0123456789abcdeg", codes.Unauthenticated, "not one that this server knows")
		f.register(t, identity.FirstAdministrator, everywhere(access.Administrator))
		admin, _ := f.issue(t, identity.FirstAdministrator, time.Time{})
		f.clock.move(identity.Longest)
		f.wantWho(t, "", "local")
		f.wantWho(t, admin, identity.FirstAdministrator)
		wantRefused(t, f.people, admin[:60], codes.Unauthenticated, "not one that this server knows")
		f.register(t, "nd1")
		f.clock.move(identity.Longest)
		wantRefused(t, f.people, "", codes.Unauthenticated, "asks for a token")
		f.wantWho(t, admin, identity.FirstAdministrator)
	})
}
