package access_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/visible"
)

// The table of roles and actions, written down once more: what is not in it is for
// nobody.
var mayDo = map[access.Role][]access.Action{
	access.Technician: {access.Read, access.RecordWork, access.Inspect, access.KeepTools, access.Hold, access.Correct, access.Attach, access.Deliver},
	access.Crib: {access.Read, access.KeepTools, access.Calibrate, access.MoveLots, access.Hold, access.Correct, access.Attach, access.Deliver,
		access.RegisterStock},
	access.SiteLead: {access.Read, access.RecordWork, access.Inspect, access.KeepTools, access.Calibrate, access.MoveLots, access.Hold, access.Decide,
		access.SignOff, access.Correct, access.Attach, access.Deliver, access.RegisterPlaces, access.RegisterStock, access.RegisterPeople},
	access.Quality: {access.Read, access.RankPeople, access.Inspect, access.Calibrate, access.Hold, access.Decide, access.SignOff, access.Correct,
		access.Attach, access.Deliver, access.RegisterStock, access.RegisterSpecifications, access.SetAlarms},
	access.RegionalManager: {access.Read, access.RankPeople, access.Hold, access.Decide, access.SignOff, access.Attach, access.Deliver, access.SetAlarms},
	access.Administrator:   access.Actions(),
	access.Integration: {access.Read, access.RecordWork, access.Inspect, access.KeepTools, access.Calibrate, access.MoveLots, access.Hold, access.Correct,
		access.Attach, access.Deliver, access.RegisterPlaces, access.RegisterSites, access.RegisterStock, access.RegisterSpecifications, access.RegisterPeople},
}

func denied(t *testing.T, what string, err error) {
	t.Helper()
	if e := ledger.AsError(err); e == nil || e.Kind != ledger.KindDenied || e.Reason != ledger.ReasonPermissionDenied {
		t.Errorf("%s: %v; expected a refusal", what, err)
	}
}

func TestWhatEachRoleMayDo(t *testing.T) {
	if len(mayDo) != len(access.Roles()) {
		t.Fatalf("%d roles; expected %d", len(access.Roles()), len(mayDo))
	}
	for _, role := range append(access.Roles(), 200) { // 200 is no role
		p := &access.Principal{Name: "visitor", Grants: []access.Grant{{Role: role, Sites: []string{"ASH", "BAY"}}}}
		ctx := access.With(context.Background(), p)
		for _, a := range append(access.Actions(), 200) { // 200 is no action
			want := slices.Contains(mayDo[role], a)
			if got := access.RoleMay(role, a); got != want {
				t.Errorf("%s may %s: %v", role, access.Words(a), got)
			}
			for _, site := range []string{"", "ASH", "BAY"} {
				err := access.AllowAt(ctx, a, site)
				if want && err != nil {
					t.Errorf("%s, %s at %q: %v", role, access.Words(a), site, err)
				} else if !want {
					denied(t, role.String()+" "+access.Words(a), err)
				}
			}
			denied(t, role.String()+" elsewhere", access.AllowAt(ctx, a, "ELM"))
			denied(t, role.String()+" everywhere", access.AllowEverywhere(ctx, a))
		}
	}
}

// The refusal says in words what may not be done and where, whether or not there is
// such a place.
func TestRefusalsSayWhat(t *testing.T) {
	ctx := access.With(context.Background(), &access.Principal{Name: "visitor", Grants: []access.Grant{{Role: access.Technician, Sites: []string{"ASH"}}}})
	for want, err := range map[string]error{
		"visitor may not move lots": access.Allow(ctx, access.MoveLots),
		"visitor may not add tightenings, sealings or incidents at site BAY":                  access.AllowAt(ctx, access.RecordWork, "BAY"),
		"visitor may not add tightenings, sealings or incidents at every site, as this takes": access.AllowEverywhere(ctx, access.RecordWork),
	} {
		denied(t, want, err)
		if err == nil || err.Error() != want {
			t.Errorf("%v; expected %q", err, want)
		}
	}
	for _, a := range access.Actions() {
		if w := access.Words(a); w == "" || strings.HasPrefix(w, "ACTION") {
			t.Errorf("action %v has no words", a)
		}
	}
}

func TestNobodyMayNothing(t *testing.T) {
	ctx := context.Background()
	for _, a := range access.Actions() {
		for _, err := range []error{access.Allow(ctx, a), access.AllowAt(ctx, a, "ASH"), access.AllowEverywhere(ctx, a)} {
			if e := ledger.AsError(err); e == nil || e.Kind != ledger.KindUnauthenticated || e.Reason != ledger.ReasonUnauthenticated {
				t.Errorf("%v: %v", a, err)
			}
		}
		if s := visible.From(access.Narrow(ctx, a)); !s.Restricted || len(s.Codes) != 0 {
			t.Errorf("nobody sees %+v", s)
		}
	}
	var none *access.Principal
	if s := none.Visible(); !s.Restricted || len(s.Codes) != 0 {
		t.Errorf("nobody sees %+v", s)
	}
	denied(t, "a principal without a grant", access.Allow(access.With(ctx, &access.Principal{Name: "new"}), access.Read))
	denied(t, "a grant for no site", access.Allow(access.With(ctx, &access.Principal{Grants: []access.Grant{{Role: access.Administrator}}}), access.Read))
}

// Each grant reaches its own sites with its own role: nothing of one carries over to
// another.
func TestGrantsDoNotMix(t *testing.T) {
	p := &access.Principal{Name: "visitor", Grants: []access.Grant{
		{Role: access.Technician, Sites: []string{"CAY", "ASH"}}, {Role: access.Quality, Sites: []string{"BAY"}}, {Role: access.Crib, Sites: []string{"ASH"}},
	}}
	ctx := access.With(context.Background(), p)
	for _, c := range []struct {
		action access.Action
		sites  []string
	}{
		{access.Read, []string{"ASH", "BAY", "CAY"}},
		{access.RecordWork, []string{"ASH", "CAY"}},
		{access.Calibrate, []string{"ASH", "BAY"}},
		{access.MoveLots, []string{"ASH"}},
		{access.RankPeople, []string{"BAY"}},
		{access.Administer, nil},
	} {
		for _, site := range []string{"ASH", "BAY", "CAY", "ELM"} {
			if got, want := p.MayAt(c.action, site), slices.Contains(c.sites, site); got != want {
				t.Errorf("%s at %s: %v", access.Words(c.action), site, got)
			}
		}
		if got, want := p.May(c.action), len(c.sites) > 0; got != want {
			t.Errorf("%s anywhere: %v", access.Words(c.action), got)
		}
		if s := visible.From(access.Narrow(ctx, c.action)); !s.Restricted || !slices.Equal(s.Codes, c.sites) {
			t.Errorf("narrowed to %s: %+v; expected %v", access.Words(c.action), s, c.sites)
		}
	}
	if s := visible.From(ctx); !s.Restricted || !slices.Equal(s.Codes, []string{"ASH", "BAY", "CAY"}) {
		t.Errorf("sees %+v", s)
	}
	if p.Unlimited() {
		t.Error("is unlimited")
	}
}

func TestEverywhereReachesSitesToCome(t *testing.T) {
	p := &access.Principal{Grants: []access.Grant{{Role: access.RegionalManager, Everywhere: true}, {Role: access.Technician, Sites: []string{"ASH"}}}}
	ctx := access.With(context.Background(), p)
	if err := access.AllowEverywhere(ctx, access.Read); err != nil {
		t.Error(err)
	}
	if s := visible.From(ctx); s.Restricted {
		t.Errorf("sees only %+v", s)
	}
	if s := visible.From(access.Narrow(ctx, access.RecordWork)); !s.Restricted || !slices.Equal(s.Codes, []string{"ASH"}) {
		t.Errorf("narrowed to recording: %+v", s)
	}
	if !p.MayAt(access.Decide, "ELM") || p.MayAt(access.RecordWork, "ELM") || p.Unlimited() {
		t.Error("a regional manager decides at any site, records at none but its own, and is not unlimited")
	}
	if !access.Local.Unlimited() || access.Local.Visible().Restricted {
		t.Error("local is limited")
	}
}

func TestRolesReadBackAsTheyAreWritten(t *testing.T) {
	for _, r := range access.Roles() {
		if got, ok := access.ParseRole(r.String()); !ok || got != r {
			t.Errorf("%s reads back as %v, %v", r, got, ok)
		}
	}
	if _, ok := access.ParseRole("role 200"); ok || access.Role(200).String() != "role 200" {
		t.Error("a role that is none is read, or is written wrongly")
	}
}

// Every method of the API says what it takes; what is none of its methods has no
// action.
func TestActionsOfMethods(t *testing.T) {
	for method, want := range map[string]access.Action{
		"/jointledger.v1.StructureService/CreateSite":        access.RegisterSites,
		"/jointledger.v1.StructureService/ListSites":         access.Read,
		"/jointledger.v1.AssemblyService/RecordTightenings":  access.RecordWork,
		"/jointledger.v1.ControlService/RecordSignOffs":      access.SignOff,
		"/jointledger.v1.AttachmentService/UploadAttachment": access.Attach,
		"/jointledger.v1.DeliveryService/DeliverRecords":     access.Deliver,
		"/jointledger.v1.ToolService/RecordCalibrations":     access.Calibrate,
	} {
		if got, err := access.ActionOf(method); err != nil || got != want {
			t.Errorf("%s: %v, %v; expected %v", method, got, err, want)
		}
	}
	for _, method := range []string{"", "/", "/jointledger.v1.StructureService/DropEverything", "/jointledger.v1.StructureService", "/nobody.v1.Service/Get"} {
		if a, err := access.ActionOf(method); err == nil {
			t.Errorf("%q takes %v", method, a)
		}
	}
}
