package service_test

import (
	"errors"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/testing/protocmp"

	pb "jointledger/proto/jointledger/v1"
)

// handover reads the record of a place: one head, then the joints.
func handover(t *testing.T, c clients, place string) (*pb.HandoverHead, []*pb.HandoverJoint, error) {
	t.Helper()
	stream, err := c.progress.GetHandover(t.Context(), &pb.GetHandoverRequest{Place: place})
	if err != nil {
		t.Fatal(err)
	}
	var head *pb.HandoverHead
	var joints []*pb.HandoverJoint
	for {
		m, err := stream.Recv()
		switch {
		case errors.Is(err, io.EOF):
			return head, joints, nil
		case err != nil:
			return nil, nil, err
		case m.GetHead() != nil:
			if head != nil || joints != nil {
				t.Fatal("the head does not come first, or comes twice")
			}
			head = m.GetHead()
		case m.GetJoint() != nil:
			joints = append(joints, m.GetJoint())
		default:
			t.Fatalf("a part of nothing: %v", m)
		}
	}
}

func TestHandover(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		s := tell(t, c)
		mend := replaced("2026-03-07T09:00:00Z", s.first.Name, sound("2026-03-02T09:00:01Z", 10))
		if got := correct(t, c, mend); got != "TAKEN "+mend.Name {
			t.Fatal(got)
		}
		cell, joints, err := handover(t, c, theCell)
		if err != nil {
			t.Fatal(render(err))
		}
		report, err := c.store.Verify(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if cell.Place != theCell || cell.Site.Name != "sites/HAR" || cell.Joints != 2 || len(joints) != 2 || cell.ReadTime == nil ||
			cell.ChainSequence != report.Sites[0].Records || len(cell.ChainLink) != 32 {
			t.Errorf("%v", cell)
		}
		// theSeam was sealed and no more: the record says so, and is not complete.
		if cell.Complete || !slices.ContainsFunc(cell.Missing, func(m *pb.Missing) bool { return m.Place == theSeam && m.Sentence != "" }) {
			t.Errorf("complete %v, missing %v", cell.Complete, cell.Missing)
		}
		if len(cell.Tools) != 1 || cell.Tools[0].Tool.Name != "tools/TW-1" || len(cell.Tools[0].Calibrations) != 1 || !strings.HasPrefix(cell.Tools[0].Calibrations[0].Certificate, "C-") {
			t.Errorf("tools: %v", cell.Tools)
		}
		if len(cell.Lots) != 1 || cell.Lots[0].Name != "lots/M10-S-1" {
			t.Errorf("lots: %v", cell.Lots)
		}
		var specs []string
		for _, s := range cell.Specifications {
			specs = append(specs, s.Name)
		}
		if d := cmp.Diff([]string{"specifications/SS-M10@1", "specifications/SS-SEAM@1"}, specs); d != "" {
			t.Error(d)
		}
		if d := cmp.Diff([]string{"people/nd1", "people/" + inspector}, cell.People); d != "" {
			t.Error(d)
		}
		// Each joint is told as its history tells it.
		for i, name := range []string{theJoint, theSeam} {
			want := must[*pb.GetJointHistoryResponse](t)(c.progress.GetJointHistory(ctx, &pb.GetJointHistoryRequest{Joint: name}))
			if d := cmp.Diff(&pb.HandoverJoint{Status: want.Status, Items: want.Items}, joints[i], protocmp.Transform()); d != "" {
				t.Errorf("%s: %s", name, d)
			}
		}
	})
}

func TestAHandoverIsCompleteWhenNothingIsMissing(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		tell(t, c)
		// The seam's ten fasteners, an inspection, and the cell's acceptance.
		rest := sound("2026-03-05T10:00:00Z", 10)
		rest.Joint = theSeam
		if o := record(t, c, rest); o.State != pb.Outcome_STATE_TAKEN || len(o.Findings) != 0 {
			t.Fatalf("%v", o)
		}
		taken(t, must[*pb.RecordInspectionsResponse](t)(c.inspection.RecordInspections(ctx, &pb.RecordInspectionsRequest{Inspections: []*pb.Inspection{
			inspection("2026-03-06T10:00:00Z", theSeam, pb.InspectionResult_INSPECTION_RESULT_PASS),
		}})).Outcomes)
		taken(t, must[*pb.RecordSignOffsResponse](t)(c.control.RecordSignOffs(ctx, &pb.RecordSignOffsRequest{SignOffs: []*pb.SignOff{
			signOff("2026-03-07T10:00:00Z", theCell, inspector),
		}})).Outcomes)
		for _, place := range []string{theCell, theTower, "sites/HAR"} {
			head, joints, err := handover(t, c, place)
			if err != nil {
				t.Fatal(render(err))
			}
			if !head.Complete || len(head.Missing) != 0 || len(joints) != 2 {
				t.Errorf("%s: complete %v, missing %v, %d joints", place, head.Complete, head.Missing, len(joints))
			}
		}
	})
}

// A record of the wrong joint is put right by one of another joint, which is told
// with that one: where the old is told, its name stands.
func TestACorrectionToAnotherJoint(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		s := tell(t, c)
		moved := sound("2026-03-02T09:00:00Z", 10)
		moved.Joint = theSeam
		mend := replaced("2026-03-07T09:00:00Z", s.first.Name, moved)
		if got := correct(t, c, mend); got != "TAKEN "+mend.Name {
			t.Fatal(got)
		}
		of := func(items []*pb.HistoryItem, name string) *pb.HistoryItem {
			t.Helper()
			i := slices.IndexFunc(items, func(i *pb.HistoryItem) bool { return itemName(i) == name })
			if i < 0 {
				t.Fatalf("%s is missing in %v", name, itemNames(items))
			}
			return items[i]
		}
		history := must[*pb.GetJointHistoryResponse](t)(c.progress.GetJointHistory(ctx, &pb.GetJointHistoryRequest{Joint: theJoint}))
		whole := of(history.Items, mend.Name).GetCorrection()
		if whole.Corrects != s.first.Name || whole.GetTightening().GetName() != moved.Name || whole.GetTightening().Joint != theSeam {
			t.Errorf("history: %v", whole)
		}
		_, joints, err := handover(t, c, theCell)
		if err != nil {
			t.Fatal(render(err))
		}
		told := of(joints[0].Items, mend.Name).GetCorrection()
		if d := cmp.Diff(&pb.Tightening{Name: moved.Name}, told.GetTightening(), protocmp.Transform()); d != "" || told.Corrects != s.first.Name {
			t.Errorf("hand-over, corrects %s: %s", told.Corrects, d)
		}
		if m := of(joints[1].Items, moved.Name).GetTightening(); m.Joint != theSeam || m.Fasteners != 10 {
			t.Errorf("hand-over, the other joint: %v", m)
		}
	})
}

func TestHandoversThatCannotBe(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	must[*pb.Tower](t)(c.structure.CreateTower(ctx, &pb.CreateTowerRequest{Parent: "sites/HAR", TowerId: "CT2", Tower: &pb.Tower{Material: pb.Material_MATERIAL_316}}))
	_, _, err := handover(t, c, "sites/HAR/towers/CT2")
	got := render(err)
	for _, part := range []string{"FailedPrecondition: ", "\nreason jointledger/EMPTY_PLACE", "\nresource jointledger/Tower sites/HAR/towers/CT2", "\nprecondition EMPTY_PLACE sites/HAR/towers/CT2: "} {
		if !strings.Contains(got, part) {
			t.Errorf("%q is missing in %s", part, got)
		}
	}
	_, _, err = handover(t, c, "sites/HAX")
	if got := render(err); got != "NotFound: site \"HAX\" is not known; the nearest known is \"HAR\"\nreason jointledger/UNKNOWN_RESOURCE\nresource jointledger/Site sites/HAX" {
		t.Error(got)
	}
	_, _, err = handover(t, c, theJoint)
	if got := render(err); got != "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield place: \""+theJoint+`" is a joint; expected a site, tower or cell` {
		t.Error(got)
	}
	_, _, err = handover(t, c, "")
	if got := render(err); got != "InvalidArgument: request is not valid\nreason jointledger/INVALID_FIELD\nfield place: is required; expected a site, tower or cell" {
		t.Error(got)
	}
}
