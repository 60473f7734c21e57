package service_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	pb "jointledger/proto/jointledger/v1"
)

// record keeps one tightening and gives its outcome.
func record(t *testing.T, c clients, m *pb.Tightening) *pb.Outcome {
	t.Helper()
	return must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(t.Context(), &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{m}})).Outcomes[0]
}

// found writes findings down, one a line.
func found(list []*pb.Finding) string {
	var lines []string
	for _, f := range list {
		lines = append(lines, f.Rule+" "+strings.TrimPrefix(f.Severity.String(), "SEVERITY_"))
	}
	return strings.Join(lines, "\n")
}

// A hold on a place is in the chain of the place's site, and names no other.
func TestAHoldAtTwoSites(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		readyToWork(t, c)
		stop := hold("2026-03-03T12:00:00Z", theJoint)
		stop.Site = "sites/KVR"
		send := func() *pb.Outcome {
			return must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{stop}})).Outcomes[0]
		}
		o := send()
		if o.State != pb.Outcome_STATE_REFUSED || !strings.Contains(o.GetRefusal().String(), "KVR is not the place's site HAR") {
			t.Errorf("%v; expected that it names the site that it is not", o)
		}
		stop.Site = ""
		if o := send(); o.State != pb.Outcome_STATE_TAKEN {
			t.Errorf("without a site: %v", o)
		}
		stop.Site = "sites/HAR"
		if o := send(); o.State != pb.Outcome_STATE_ALREADY_KNOWN {
			t.Errorf("with the place's own: %v", o)
		}
	})
}

func TestAFindingHoldsTheJointUntilSomebodyWhoMayReleasesIt(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		readyToWork(t, c)
		if o := record(t, c, sound("2026-03-02T09:00:00Z", 10)); o.State != pb.Outcome_STATE_TAKEN || len(o.Findings) != 0 {
			t.Fatalf("sound work: %s\n%v", outcomes([]*pb.Outcome{o}), o.Findings)
		}
		// 38 N.m where 32 N.m ±10 % are specified: above 35.2 N.m. A true record is
		// taken in all the same.
		strong := sound("2026-03-02T10:00:00Z", 14)
		strong.TorqueNewtonMetres = proto.Float64(38)
		o := record(t, c, strong)
		if o.State != pb.Outcome_STATE_TAKEN || found(o.Findings) != "torque-window HOLD" {
			t.Fatalf("%s\n%v", outcomes([]*pb.Outcome{o}), o.Findings)
		}
		f := o.Findings[0]
		if f.GetFigure() != 38 || f.GetLimit() < 35.19 || f.GetLimit() > 35.21 || f.Unit != "N.m" || f.Source == "" || !strings.Contains(f.Message, "35.2") {
			t.Errorf("%v", f)
		}
		again := record(t, c, strong)
		if again.State != pb.Outcome_STATE_ALREADY_KNOWN {
			t.Errorf("sent again: %v", again)
		}
		if d := cmp.Diff(o.Findings, again.Findings, protocmp.Transform()); d != "" {
			t.Errorf("sent again, it says what was found then: %s", d)
		}

		open := func() []*pb.Hold {
			a := must[*pb.ListJointStatesResponse](t)(c.progress.ListJointStates(ctx, &pb.ListJointStatesRequest{Place: theJoint}))
			if len(a.Joints) != 1 {
				t.Fatalf("%v", a)
			}
			return a.Joints[0].OpenHolds
		}
		list := open()
		if len(list) != 1 || list[0].Rule != "torque-window" || list[0].Cause != strong.Name || list[0].Place != theJoint || list[0].Reason != f.Message || list[0].Entry.Person != "" {
			t.Fatalf("%v", list)
		}
		placed := must[*pb.Hold](t)(c.control.GetHold(ctx, &pb.GetHoldRequest{Name: list[0].Name}))
		if d := cmp.Diff(list[0], placed, protocmp.Transform()); d != "" {
			t.Error(d)
		}

		try := func(m *pb.Hold) string {
			t.Helper()
			return outcomes(must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{m}})).Outcomes)
		}
		technician := release(placed, "2026-03-03T09:00:00Z", "nd1")
		if d := cmp.Diff("REFUSED "+technician.Name+` PERMISSION_DENIED: nd1 has no role that may decide this; it takes one of site-lead, quality, regional-manager, administrator
  resource people/nd1`, try(technician)); d != "" {
			t.Error(d)
		}
		elsewhere := release(placed, "2026-03-03T09:00:00Z", inspector)
		elsewhere.Place = theSeam
		if got := try(elsewhere); !strings.HasPrefix(got, "REFUSED "+elsewhere.Name+" INVALID_FIELD: hold is not valid\n  releases: the hold "+bare(placed.Name)+" is on HAR/CT1/C1/J001, not on HAR/CT1/C1/J002") {
			t.Error(got)
		}
		if len(open()) != 1 {
			t.Error("the hold was released all the same")
		}
		end, late := release(placed, "2026-03-03T10:00:00Z", inspector), release(placed, "2026-03-03T11:00:00Z", inspector)
		if got := try(end); got != "TAKEN "+end.Name {
			t.Fatal(got)
		}
		if d := cmp.Diff("REFUSED "+late.Name+" HOLD_NOT_OPEN: hold "+bare(placed.Name)+` is not open
  resource `+placed.Name, try(late)); d != "" {
			t.Error(d)
		}
		unknown := release(&pb.Hold{Name: "holds/01a211ed-f7a7-792f-8c41-ee1e40901d2b", Place: theJoint}, "2026-03-03T12:00:00Z", inspector)
		if d := cmp.Diff("REFUSED "+unknown.Name+` UNKNOWN_RESOURCE: hold "01a211ed-f7a7-792f-8c41-ee1e40901d2b" is not known
  resource holds/01a211ed-f7a7-792f-8c41-ee1e40901d2b`, try(unknown)); d != "" {
			t.Error(d)
		}
		if list := open(); len(list) != 0 {
			t.Errorf("%v", list)
		}
		stillOpen := func() []string {
			return named(must[*pb.ListHoldsResponse](t)(c.control.ListHolds(ctx, &pb.ListHoldsRequest{OpenOnly: true})).Holds)
		}
		if got := stillOpen(); len(got) != 0 {
			t.Errorf("open_only gives what is released: %v", got)
		}
		reheld := hold("2026-03-03T13:00:00Z", theJoint)
		taken(t, must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{reheld}})).Outcomes)
		if d := cmp.Diff([]string{reheld.Name}, stillOpen()); d != "" {
			t.Errorf("open_only: %s", d)
		}
		if h := must[*pb.Hold](t)(c.control.GetHold(ctx, &pb.GetHoldRequest{Name: placed.Name})); h.ReleasedBy != end.Name || h.Cause != strong.Name {
			t.Errorf("%v", h)
		}
		all := must[*pb.ListHoldsResponse](t)(c.control.ListHolds(ctx, &pb.ListHoldsRequest{Place: theJoint}))
		if d := cmp.Diff([]string{placed.Name, end.Name, reheld.Name}, named(all.Holds)); d != "" {
			t.Error(d)
		}
	})
}

func TestWhoMayDecideAndSignOff(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	readyToWork(t, c)
	gall := galling("2026-03-02T09:00:00Z", 1)
	taken(t, must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{gall}})).Outcomes)
	bad, good := disposition("2026-03-02T10:00:00Z", gall.Name, "nd1"), disposition("2026-03-02T10:00:00Z", gall.Name, inspector)
	nobody := disposition("2026-03-02T10:00:00Z", gall.Name, "zz9")
	const denied = ` PERMISSION_DENIED: nd1 has no role that may decide this; it takes one of site-lead, quality, regional-manager, administrator
  resource people/nd1`
	decided := must[*pb.RecordDispositionsResponse](t)(c.control.RecordDispositions(ctx, &pb.RecordDispositionsRequest{Dispositions: []*pb.Disposition{bad, good, nobody}}))
	if d := cmp.Diff("REFUSED "+bad.Name+denied+"\nTAKEN "+good.Name+"\nREFUSED "+nobody.Name+" UNKNOWN_RESOURCE: person \"zz9\" is not known\n  resource people/zz9", outcomes(decided.Outcomes)); d != "" {
		t.Error(d)
	}
	badOff, goodOff := signOff("2026-03-02T11:00:00Z", theCell, "nd1"), signOff("2026-03-02T11:00:00Z", theCell, inspector)
	wide := signOff("2026-03-02T11:00:00Z", "sites/HAR", inspector)
	signed := must[*pb.RecordSignOffsResponse](t)(c.control.RecordSignOffs(ctx, &pb.RecordSignOffsRequest{SignOffs: []*pb.SignOff{badOff, goodOff, wide}}))
	if d := cmp.Diff("REFUSED "+badOff.Name+denied+"\nTAKEN "+goodOff.Name+"\nREFUSED "+wide.Name+" INVALID_FIELD: sign-off is not valid\n  place: expected a tower, cell or joint", outcomes(signed.Outcomes)); d != "" {
		t.Error(d)
	}
	// Anybody who works may place a hold.
	stop := hold("2026-03-02T12:00:00Z", theJoint)
	taken(t, must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{stop}})).Outcomes)
	got := must[*pb.ListDispositionsResponse](t)(c.control.ListDispositions(ctx, &pb.ListDispositionsRequest{Place: theJoint}))
	if d := cmp.Diff([]string{good.Name}, named(got.Dispositions)); d != "" {
		t.Error(d)
	}
}
