package service_test

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// sameRecord sees that a record reads back as it was given, once the entry's own
// additions are taken out.
func sameRecord[M interface {
	proto.Message
	GetName() string
	GetEntry() *pb.Entry
}](t *testing.T, want, got M) {
	t.Helper()
	e := got.GetEntry()
	if e.ReceiveTime == nil || e.ChainSequence == 0 || len(e.ChainLink) != 32 {
		t.Errorf("%s: entry %v", want.GetName(), e)
	}
	e.ReceiveTime, e.ChainSequence, e.ChainLink = nil, 0, nil
	if d := cmp.Diff(want, got, protocmp.Transform()); d != "" {
		t.Errorf("%s: %s", want.GetName(), d)
	}
}

// Whatever a client sends in a field that is the server's comes back as the
// server has it.
func TestEveryKindReadsBackAsItWasGiven(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		readyToWork(t, c)
		seal := sealing("2026-03-02T08:00:00.123456Z")
		bare := &pb.Sealing{Name: "sealings/" + newID(), Joint: theSeam, Sealant: "strip", WidthMillimetres: 20, Entry: late("2026-03-02T08:30:00Z", "nd1")}
		audit, look := inspection("2026-03-02T09:00:00Z", theJoint, pb.InspectionResult_INSPECTION_RESULT_PASS), inspection("2026-03-02T09:30:00Z", theJoint, pb.InspectionResult_INSPECTION_RESULT_FAIL)
		look.Kind, look.Sample, look.Plan, look.ReadingsNewtonMetres, look.Tool = pb.InspectionKind_INSPECTION_KIND_VISUAL, 0, "", nil, ""
		drop := custody("2026-03-02T10:00:00Z", pb.CustodyKind_CUSTODY_KIND_DROPPED)
		drop.Entry.Person = ""
		onCell := hold("2026-03-02T11:00:00Z", "sites/har/towers/ct1/cells/c1")
		onCell.Rule, onCell.Cause, onCell.ReleasedBy = "torque-window", seal.Name, "holds/"+newID() // not the client's to say
		onLot, onTool := hold("2026-03-02T11:01:00Z", ""), hold("2026-03-02T11:02:00Z", "")
		onLot.Lot, onLot.Site, onTool.Tool, onTool.Site = "lots/M10-S-2", "sites/HAR", "tools/TW-1", "sites/HAR"
		gall := galling("2026-03-02T12:00:00Z", 1)
		gall.Entry = late("2026-03-02T12:00:00Z", "nd1")
		taken(t, slices.Concat(
			must[*pb.RecordSealingsResponse](t)(c.inspection.RecordSealings(ctx, &pb.RecordSealingsRequest{Sealings: []*pb.Sealing{seal, bare}})).Outcomes,
			must[*pb.RecordInspectionsResponse](t)(c.inspection.RecordInspections(ctx, &pb.RecordInspectionsRequest{Inspections: []*pb.Inspection{audit, look}})).Outcomes,
			must[*pb.RecordCustodyChangesResponse](t)(c.control.RecordCustodyChanges(ctx, &pb.RecordCustodyChangesRequest{CustodyChanges: []*pb.CustodyChange{drop}})).Outcomes,
			must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{onCell, onLot, onTool}})).Outcomes,
			must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{gall}})).Outcomes,
		))
		decided, end := disposition("2026-03-02T13:00:00Z", gall.Name, inspector), release(onLot, "2026-03-02T13:30:00Z", inspector)
		ofTower, ofJoint := signOff("2026-03-02T14:00:00Z", theTower, inspector), signOff("2026-03-02T14:01:00Z", theJoint, inspector)
		ofJoint.Point, ofJoint.Title = pb.SignOffPoint_SIGN_OFF_POINT_WITNESS_POINT, ""
		taken(t, slices.Concat(
			must[*pb.RecordDispositionsResponse](t)(c.control.RecordDispositions(ctx, &pb.RecordDispositionsRequest{Dispositions: []*pb.Disposition{decided}})).Outcomes,
			must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{end}})).Outcomes,
			must[*pb.RecordSignOffsResponse](t)(c.control.RecordSignOffs(ctx, &pb.RecordSignOffsRequest{SignOffs: []*pb.SignOff{ofTower, ofJoint}})).Outcomes,
		))

		seal.Specification, bare.Specification = "specifications/SS-SEAM@1", "specifications/SS-SEAM@1"
		for _, m := range []*pb.Sealing{seal, bare} {
			sameRecord(t, m, must[*pb.Sealing](t)(c.inspection.GetSealing(ctx, &pb.GetSealingRequest{Name: m.Name})))
		}
		for _, m := range []*pb.Inspection{audit, look} {
			sameRecord(t, m, must[*pb.Inspection](t)(c.inspection.GetInspection(ctx, &pb.GetInspectionRequest{Name: m.Name})))
		}
		sameRecord(t, drop, must[*pb.CustodyChange](t)(c.control.GetCustodyChange(ctx, &pb.GetCustodyChangeRequest{Name: drop.Name})))
		onCell.Place, onCell.Site, onCell.Rule, onCell.Cause, onCell.ReleasedBy = theCell, "sites/HAR", "", "", ""
		onLot.ReleasedBy = end.Name
		for _, m := range []*pb.Hold{onCell, onLot, onTool, end} {
			sameRecord(t, m, must[*pb.Hold](t)(c.control.GetHold(ctx, &pb.GetHoldRequest{Name: m.Name})))
		}
		sameRecord(t, decided, must[*pb.Disposition](t)(c.control.GetDisposition(ctx, &pb.GetDispositionRequest{Name: decided.Name})))
		for _, m := range []*pb.SignOff{ofTower, ofJoint} {
			sameRecord(t, m, must[*pb.SignOff](t)(c.control.GetSignOff(ctx, &pb.GetSignOffRequest{Name: m.Name})))
		}
	})
}

func TestRecordsOfTheSiteAreListed(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	readyToWork(t, c)
	seals := []*pb.Sealing{sealing("2026-03-02T08:00:00Z"), sealing("2026-03-03T08:00:00Z"), sealing("2026-03-04T08:00:00Z")}
	seals[2].Entry.Person = "people/" + inspector
	taken(t, must[*pb.RecordSealingsResponse](t)(c.inspection.RecordSealings(ctx, &pb.RecordSealingsRequest{Sealings: seals})).Outcomes)
	audits := []*pb.Inspection{inspection("2026-03-05T08:00:00Z", theJoint, pb.InspectionResult_INSPECTION_RESULT_PASS), inspection("2026-03-05T09:00:00Z", theSeam, pb.InspectionResult_INSPECTION_RESULT_PASS)}
	taken(t, must[*pb.RecordInspectionsResponse](t)(c.inspection.RecordInspections(ctx, &pb.RecordInspectionsRequest{Inspections: audits})).Outcomes)
	onCell, onTool := hold("2026-03-06T08:00:00Z", theCell), hold("2026-03-06T09:00:00Z", "")
	onTool.Tool, onTool.Site = "tools/TW-1", "sites/HAR"
	taken(t, must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{onCell, onTool}})).Outcomes)
	signed, wider := signOff("2026-03-06T10:00:00Z", theCell, inspector), signOff("2026-03-06T11:00:00Z", theTower, inspector)
	taken(t, must[*pb.RecordSignOffsResponse](t)(c.control.RecordSignOffs(ctx, &pb.RecordSignOffsRequest{SignOffs: []*pb.SignOff{signed, wider}})).Outcomes)

	at := func(when string) *timestamppb.Timestamp { return entry(when).OccurTime }
	for name, tc := range map[string]struct {
		r    *pb.ListSealingsRequest
		want []string
	}{
		"all":    {&pb.ListSealingsRequest{}, named(seals)},
		"place":  {&pb.ListSealingsRequest{Place: theSeam}, named(seals)},
		"other":  {&pb.ListSealingsRequest{Place: theJoint}, nil},
		"person": {&pb.ListSealingsRequest{Person: "people/" + inspector}, named(seals[2:])},
		"period": {&pb.ListSealingsRequest{StartTime: at("2026-03-03T08:00:00Z"), EndTime: at("2026-03-04T08:00:00Z")}, named(seals[1:2])},
	} {
		got, _ := follow(t, c.inspection.ListSealings, func(token string) *pb.ListSealingsRequest {
			r := proto.Clone(tc.r).(*pb.ListSealingsRequest)
			r.PageSize, r.PageToken = 2, token
			return r
		}, func(a *pb.ListSealingsResponse) []string { return named(a.Sealings) })
		if !slices.Equal(got, tc.want) {
			t.Errorf("sealings, %s: %v; expected %v", name, got, tc.want)
		}
	}
	same := func(what string, got, want []string) {
		t.Helper()
		if !slices.Equal(got, want) {
			t.Errorf("%s: %v; expected %v", what, got, want)
		}
	}
	inspections := must[*pb.ListInspectionsResponse](t)(c.inspection.ListInspections(ctx, &pb.ListInspectionsRequest{Place: theSeam, Person: "people/" + inspector}))
	same("inspections", named(inspections.Inspections), named(audits[1:]))
	issued := must[*pb.ListCustodyChangesResponse](t)(c.control.ListCustodyChanges(ctx, &pb.ListCustodyChangesRequest{Site: "sites/HAR", Tool: "tools/TW-1"}))
	if len(issued.CustodyChanges) != 1 || issued.CustodyChanges[0].Holder != "people/nd1" {
		t.Errorf("custody: %v", issued)
	}
	ofTool := must[*pb.ListHoldsResponse](t)(c.control.ListHolds(ctx, &pb.ListHoldsRequest{Tool: "tools/TW-1"}))
	same("holds of the tool", named(ofTool.Holds), []string{onTool.Name})
	ofCell := must[*pb.ListHoldsResponse](t)(c.control.ListHolds(ctx, &pb.ListHoldsRequest{Place: theCell}))
	same("holds of the cell", named(ofCell.Holds), []string{onCell.Name})
	ofSite := must[*pb.ListHoldsResponse](t)(c.control.ListHolds(ctx, &pb.ListHoldsRequest{Place: "sites/HAR"}))
	same("holds of the site", named(ofSite.Holds), []string{onCell.Name, onTool.Name})
	offs := must[*pb.ListSignOffsResponse](t)(c.control.ListSignOffs(ctx, &pb.ListSignOffsRequest{Place: theCell}))
	same("sign-offs of the cell", named(offs.SignOffs), []string{signed.Name})
	wide := must[*pb.ListSignOffsResponse](t)(c.control.ListSignOffs(ctx, &pb.ListSignOffsRequest{Place: theTower}))
	same("sign-offs of the tower", named(wide.SignOffs), []string{signed.Name, wider.Name})
	ofTower := must[*pb.ListHoldsResponse](t)(c.control.ListHolds(ctx, &pb.ListHoldsRequest{Place: theTower}))
	same("holds of the tower", named(ofTower.Holds), []string{onCell.Name})
	if none := must[*pb.ListSignOffsResponse](t)(c.control.ListSignOffs(ctx, &pb.ListSignOffsRequest{Place: theJoint})); len(none.SignOffs) != 0 {
		t.Errorf("sign-offs of the joint: %v", none)
	}
	if _, err := c.control.ListHolds(ctx, &pb.ListHoldsRequest{Lot: "lots/none"}); status.Code(err) != codes.NotFound {
		t.Errorf("%v", err)
	}
}

func TestRecordsOfTheSiteThatAreNotValid(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	readyToWork(t, c)
	wet, dry := sealing("2026-03-02T08:00:00Z"), sealing("2026-03-02T08:00:00Z")
	wet.HumidityPercent, dry.HumidityPercent, dry.Splice, dry.CleanTime = proto.Float64(101), proto.Float64(0), 9, timestamppb.New(dry.Entry.OccurTime.AsTime().Add(1))
	dry.CleanTime.Seconds++
	got := must[*pb.RecordSealingsResponse](t)(c.inspection.RecordSealings(ctx, &pb.RecordSealingsRequest{Sealings: []*pb.Sealing{wet, dry}}))
	if d := cmp.Diff("REFUSED "+wet.Name+` INVALID_FIELD: sealing is not valid
  humidity_percent: 101 is out of range; expected a number above 0 and at most 100 %
REFUSED `+dry.Name+` INVALID_FIELD: sealing is not valid
  humidity_percent: 0 is out of range; expected a number above 0 and at most 100 %
  splice: is required; expected one of none, corner, mid-run
  clean_time: lies after the sealing`, outcomes(got.Outcomes)); d != "" {
		t.Error(d)
	}

	both, neither, early := hold("2026-03-02T08:00:00Z", theJoint), hold("2026-03-02T08:00:00Z", ""), release(&pb.Hold{Place: theJoint}, "2026-03-02T08:00:00Z", inspector)
	both.Lot, both.Name = "lots/M10-S-1", "hold/1"
	neither.Reason, neither.Releases = "", "tightenings/"+newID()
	early.Decision = 0
	held := must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{both, neither, early}}))
	if d := cmp.Diff(`REFUSED hold/1 INVALID_FIELD: hold is not valid
  place: expected exactly one of a place, a lot or a tool; got 2
  name: "hold/1" is not such a name; expected holds/{id}
REFUSED `+neither.Name+` INVALID_FIELD: hold is not valid
  place: expected exactly one of a place, a lot or a tool; got 0
  site: expected a site such as RVB
  reason: is required
  releases: "`+neither.Releases+`" is not such a name; expected holds/{id}
REFUSED `+early.Name+` INVALID_FIELD: hold is not valid
  releases: is required: the hold that is released
  decision: is required; expected one of rework, repair, use-as-is, scrap`, outcomes(held.Outcomes)); d != "" {
		t.Error(d)
	}

	lost := disposition("2026-03-02T08:00:00Z", "incidents/"+newID(), inspector)
	none := &pb.Disposition{Name: "dispositions/" + newID(), Entry: late("2026-03-02T08:00:00Z", inspector)}
	decided := must[*pb.RecordDispositionsResponse](t)(c.control.RecordDispositions(ctx, &pb.RecordDispositionsRequest{Dispositions: []*pb.Disposition{lost, none}}))
	if d := cmp.Diff("REFUSED "+lost.Name+" UNKNOWN_RESOURCE: incident \""+lost.Incident[len("incidents/"):]+`" is not known
  resource `+lost.Incident+`
REFUSED `+none.Name+` INVALID_FIELD: disposition is not valid
  incident: is required; expected incidents/{id} with a UUIDv7 of your making
  decision: is required; expected one of rework, repair, use-as-is, scrap
  reason: is required`, outcomes(decided.Outcomes)); d != "" {
		t.Error(d)
	}
}

// stripServerFields takes out, at any depth, what the server adds to a record.
func stripServerFields(m protoreflect.Message) {
	m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
		switch f.Name() {
		case "receive_time", "chain_sequence", "chain_link", "specification", "verdict":
			m.Clear(f)
		case "site": // an incident's follows from its joint, a calibration's from its tool
			if n := m.Descriptor().Name(); n == "Incident" || n == "Calibration" {
				m.Clear(f)
			}
		default:
			if f.Message() != nil && !f.IsList() && !f.IsMap() {
				stripServerFields(v.Message())
			}
		}
		return true
	})
}
