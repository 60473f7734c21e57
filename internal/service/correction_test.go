package service_test

import (
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	pb "jointledger/proto/jointledger/v1"
)

// shared puts the names of the records of a test into what is expected of it.
func shared(want string, names map[string]string) string {
	for mark, name := range names {
		want = strings.ReplaceAll(want, mark, name)
	}
	return want
}

func bare(name string) string { return name[strings.LastIndexByte(name, '/')+1:] }

func correct(t *testing.T, c clients, list ...*pb.Correction) string {
	t.Helper()
	return outcomes(must[*pb.RecordCorrectionsResponse](t)(c.control.RecordCorrections(t.Context(), &pb.RecordCorrectionsRequest{Corrections: list})).Outcomes)
}

// replaced is a correction that puts another tightening in the place of one.
func replaced(when, corrects string, with *pb.Tightening) *pb.Correction {
	m := correction(when, corrects)
	m.Replacement = &pb.Correction_Tightening{Tightening: with}
	return m
}

func TestACorrectionCountsOnceAndBothStayReadable(t *testing.T) {
	each(t, func(t *testing.T, c clients) {
		ctx := t.Context()
		readyToWork(t, c)
		wrong, right := sound("2026-03-02T09:00:00Z", 24), sound("2026-03-02T09:00:00Z", 20)
		taken(t, must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{wrong}})).Outcomes)
		mend := replaced("2026-03-03T09:00:00Z", wrong.Name, right)
		if got := correct(t, c, mend); got != "TAKEN "+mend.Name {
			t.Fatal(got)
		}
		if got := correct(t, c, mend); got != "ALREADY_KNOWN "+mend.Name {
			t.Errorf("sent again: %s", got)
		}

		old := must[*pb.Tightening](t)(c.assembly.GetTightening(ctx, &pb.GetTighteningRequest{Name: wrong.Name}))
		if old.Fasteners != 24 || old.Entry.CorrectedBy != mend.Name {
			t.Errorf("the mistaken one: %v", old)
		}
		now := must[*pb.Tightening](t)(c.assembly.GetTightening(ctx, &pb.GetTighteningRequest{Name: right.Name}))
		if now.Fasteners != 20 || now.Entry.CorrectedBy != "" {
			t.Errorf("the replacement: %v", now)
		}
		stock := must[*pb.ListLotStockResponse](t)(c.lots.ListLotStock(ctx, &pb.ListLotStockRequest{Lot: "lots/M10-S-1"}))
		if len(stock.Stocks) != 1 || stock.Stocks[0].Used != 20 || stock.Stocks[0].OnHand != 480 {
			t.Errorf("stock: %v", stock)
		}

		// The correction reads back with what it corrects and the whole replacement,
		// as that stands now.
		want := proto.Clone(mend).(*pb.Correction)
		want.Replacement = &pb.Correction_Tightening{Tightening: now}
		sameRecord(t, want, must[*pb.Correction](t)(c.control.GetCorrection(ctx, &pb.GetCorrectionRequest{Name: mend.Name})))

		// The replacement may be withdrawn in turn; then nothing counts.
		gone := correction("2026-03-04T09:00:00Z", right.Name)
		if got := correct(t, c, gone); got != "TAKEN "+gone.Name {
			t.Fatal(got)
		}
		back := must[*pb.Correction](t)(c.control.GetCorrection(ctx, &pb.GetCorrectionRequest{Name: gone.Name}))
		if back.Corrects != right.Name || back.Replacement != nil {
			t.Errorf("the withdrawal: %v", back)
		}
		stock = must[*pb.ListLotStockResponse](t)(c.lots.ListLotStock(ctx, &pb.ListLotStockRequest{Lot: "lots/M10-S-1"}))
		if stock.Stocks[0].Used != 0 || stock.Stocks[0].OnHand != 500 {
			t.Errorf("stock after the withdrawal: %v", stock)
		}
		all := must[*pb.ListCorrectionsResponse](t)(c.control.ListCorrections(ctx, &pb.ListCorrectionsRequest{Site: "sites/HAR"}))
		if d := cmp.Diff([]string{mend.Name, gone.Name}, named(all.Corrections)); d != "" {
			t.Error(d)
		}
		if d := cmp.Diff(back, all.Corrections[1], protocmp.Transform()); d != "" {
			t.Error(d)
		}
		report, err := c.store.Verify(ctx)
		if err != nil || !report.OK() {
			t.Errorf("%+v %v", report, err)
		}
	})
}

func TestCorrectionsThatCannotBe(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	readyToWork(t, c)
	first, kept := sound("2026-03-02T09:00:00Z", 8), sound("2026-03-02T10:00:00Z", 8)
	held := hold("2026-03-02T11:00:00Z", theJoint)
	taken(t, must[*pb.RecordTighteningsResponse](t)(c.assembly.RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{first, kept}})).Outcomes)
	taken(t, must[*pb.RecordHoldsResponse](t)(c.control.RecordHolds(ctx, &pb.RecordHoldsRequest{Holds: []*pb.Hold{held}})).Outcomes)
	const when = "2026-03-05T09:00:00Z"
	mend := replaced(when, first.Name, sound("2026-03-02T09:00:00Z", 6))
	if got := correct(t, c, mend); got != "TAKEN "+mend.Name {
		t.Fatal(got)
	}
	names := map[string]string{"<first>": first.Name, "<first id>": bare(first.Name), "<kept>": kept.Name, "<kept id>": bare(kept.Name), "<hold>": held.Name}

	twice := replaced(when, first.Name, sound("2026-03-02T09:00:00Z", 7))
	itself := replaced(when, kept.Name, sound("2026-03-02T10:00:00Z", 4))
	itself.GetTightening().Name = kept.Name
	badInside := replaced(when, kept.Name, sound("2026-03-02T10:00:00Z", 0))
	badInside.GetTightening().Lot, badInside.GetTightening().Name = "M10-S-1", "tightenings/7"
	unknownLot := replaced(when, kept.Name, sound("2026-03-02T10:00:00Z", 4))
	unknownLot.GetTightening().Lot = "lots/M10-S-3"
	otherKind := correction(when, kept.Name)
	otherKind.Replacement = &pb.Correction_Sealing{Sealing: sealing("2026-03-02T10:00:00Z")}
	usedID := replaced(when, kept.Name, sound("2026-03-02T10:00:00Z", 4))
	usedID.GetTightening().Name = mend.GetTightening().Name
	disguised := replaced(when, "incidents/"+bare(kept.Name), nil)
	disguised.Replacement = &pb.Correction_Incident{Incident: galling("2026-03-02T10:00:00Z", 1)}
	for name, tc := range map[string]struct {
		m    *pb.Correction
		want string
	}{
		"twice": {twice, `FAILED ALREADY_CORRECTED: record <first id> was corrected already; correct its replacement instead
  resource <first>`},
		"withdrawn after": {correction(when, first.Name), `FAILED ALREADY_CORRECTED: record <first id> was corrected already; correct its replacement instead
  resource <first>`},
		"itself": {itself, `FAILED INVALID_FIELD: correction is not valid
  tightening: a record can't replace itself`},
		"bad inside": {badInside, `FAILED INVALID_FIELD: correction is not valid
  tightening.lot: "M10-S-1" is not such a name; expected lots/{lot}
  tightening.fasteners: 0 is out of range; expected a whole number from 1 to 100000
  tightening.name: "7" is not a UUID in its usual form of 36 characters`},
		"unknown lot": {unknownLot, `FAILED UNKNOWN_RESOURCE: lot "M10-S-3" is not known; the nearest known is "M10-S-1"
  resource lots/M10-S-3`},
		"other kind": {otherKind, `FAILED INVALID_FIELD: correction is not valid
  sealing: is of the kind sealing, but <kept> is of the kind tightening`},
		"used id": {usedID, `FAILED RECORD_ID_REUSED: record id <used id> was used before with other content; a record is never changed, make a new one
  resource <used>`},
		"another kind's name": {disguised, `FAILED INVALID_FIELD: correction is not valid
  incident: the replacement of this tightening must be of the same kind; got incident`},
		"withdrawn under another kind's name": {correction(when, "incidents/"+bare(kept.Name)), `FAILED UNKNOWN_RESOURCE: incident "<kept id>" is not known
  resource incidents/<kept id>`},
		"unknown": {correction(when, "sealings/01a211ed-f7a7-792f-8c41-ee1e40901d2b"), `FAILED UNKNOWN_RESOURCE: sealing "01a211ed-f7a7-792f-8c41-ee1e40901d2b" is not known
  resource sealings/01a211ed-f7a7-792f-8c41-ee1e40901d2b`},
		"no record": {correction(when, "lots/M10-S-1"), `FAILED INVALID_FIELD: correction is not valid
  corrects: "lots/M10-S-1" is not the name of a record; expected one such as tightenings/{id}`},
		"nothing": {correction(when, ""), `FAILED INVALID_FIELD: correction is not valid
  corrects: is required; expected the name of a record, such as tightenings/{id}`},
		"a correction": {correction(when, mend.Name), `FAILED INVALID_FIELD: correction is not valid
  corrects: a correction can't be corrected; correct the record that holds now`},
		"a hold": {correction(when, held.Name), `FAILED INVALID_FIELD: correction is not valid
  corrects: a hold is undone by another decision, not by a correction`},
	} {
		names["<used>"], names["<used id>"] = usedID.GetTightening().Name, bare(usedID.GetTightening().Name)
		want := strings.Replace(shared(tc.want, names), "FAILED", "REFUSED "+tc.m.Name, 1)
		if d := cmp.Diff(want, correct(t, c, tc.m)); d != "" {
			t.Errorf("%s: %s", name, d)
		}
	}
	// Nothing of a pair that was refused is kept.
	for _, m := range []*pb.Correction{twice, unknownLot} {
		if _, err := c.assembly.GetTightening(ctx, &pb.GetTighteningRequest{Name: m.GetTightening().Name}); status.Code(err) != codes.NotFound {
			t.Errorf("the replacement was kept: %v", err)
		}
		if _, err := c.control.GetCorrection(ctx, &pb.GetCorrectionRequest{Name: m.Name}); status.Code(err) != codes.NotFound {
			t.Errorf("the correction was kept: %v", err)
		}
	}
}

// Each kind that has a replacement goes there and comes back.
func TestEveryKindCanBeReplaced(t *testing.T) {
	c, ctx := fleet(t), t.Context()
	readyToWork(t, c)
	const when = "2026-03-05T09:00:00Z"
	inc, seal, insp := galling("2026-03-02T09:00:00Z", 1), sealing("2026-03-02T09:10:00Z"), inspection("2026-03-02T09:20:00Z", theJoint, pb.InspectionResult_INSPECTION_RESULT_PASS)
	move, cal, cust := movement(pb.MovementKind_MOVEMENT_KIND_RECEIVED, 5), calibration("2026-02-10T09:00:00Z", 24), custody("2026-02-11T09:00:00Z", pb.CustodyKind_CUSTODY_KIND_RETURNED)
	taken(t, must[*pb.RecordIncidentsResponse](t)(c.assembly.RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{inc}})).Outcomes)
	taken(t, must[*pb.RecordSealingsResponse](t)(c.inspection.RecordSealings(ctx, &pb.RecordSealingsRequest{Sealings: []*pb.Sealing{seal}})).Outcomes)
	taken(t, must[*pb.RecordInspectionsResponse](t)(c.inspection.RecordInspections(ctx, &pb.RecordInspectionsRequest{Inspections: []*pb.Inspection{insp}})).Outcomes)
	taken(t, must[*pb.RecordLotMovementsResponse](t)(c.lots.RecordLotMovements(ctx, &pb.RecordLotMovementsRequest{LotMovements: []*pb.LotMovement{move}})).Outcomes)
	taken(t, must[*pb.RecordCalibrationsResponse](t)(c.tools.RecordCalibrations(ctx, &pb.RecordCalibrationsRequest{Calibrations: []*pb.Calibration{cal}})).Outcomes)
	taken(t, must[*pb.RecordCustodyChangesResponse](t)(c.control.RecordCustodyChanges(ctx, &pb.RecordCustodyChangesRequest{CustodyChanges: []*pb.CustodyChange{cust}})).Outcomes)

	check := toolCheck("2026-02-12T09:00:00Z")
	taken(t, must[*pb.RecordToolChecksResponse](t)(c.tools.RecordToolChecks(ctx, &pb.RecordToolChecksRequest{ToolChecks: []*pb.ToolCheck{check}})).Outcomes)

	var list []*pb.Correction
	add := func(corrects string, with func(*pb.Correction)) {
		m := correction(when, corrects)
		with(m)
		list = append(list, m)
	}
	add(inc.Name, func(m *pb.Correction) {
		r := proto.Clone(inc).(*pb.Incident)
		r.Name, r.Fasteners = "incidents/"+newID(), 2
		m.Replacement = &pb.Correction_Incident{Incident: r}
	})
	add(seal.Name, func(m *pb.Correction) {
		r := proto.Clone(seal).(*pb.Sealing)
		r.Name, r.WidthMillimetres = "sealings/"+newID(), 22
		m.Replacement = &pb.Correction_Sealing{Sealing: r}
	})
	add(insp.Name, func(m *pb.Correction) {
		r := proto.Clone(insp).(*pb.Inspection)
		r.Name, r.Plan = "inspections/"+newID(), "all"
		m.Replacement = &pb.Correction_Inspection{Inspection: r}
	})
	add(move.Name, func(m *pb.Correction) {
		r := proto.Clone(move).(*pb.LotMovement)
		r.Name, r.Quantity = "lotMovements/"+newID(), 50
		m.Replacement = &pb.Correction_LotMovement{LotMovement: r}
	})
	add(cal.Name, func(m *pb.Correction) {
		r := proto.Clone(cal).(*pb.Calibration)
		r.Name, r.Certificate = "calibrations/"+newID(), "C-2"
		m.Replacement = &pb.Correction_Calibration{Calibration: r}
	})
	add(cust.Name, func(m *pb.Correction) {
		r := proto.Clone(cust).(*pb.CustodyChange)
		r.Name, r.Kind = "custodyChanges/"+newID(), pb.CustodyKind_CUSTODY_KIND_SENT
		m.Replacement = &pb.Correction_CustodyChange{CustodyChange: r}
	})
	add(check.Name, func(m *pb.Correction) {
		r := proto.Clone(check).(*pb.ToolCheck)
		r.Name, r.Result = "toolChecks/"+newID(), pb.InspectionResult_INSPECTION_RESULT_FAIL
		m.Replacement = &pb.Correction_ToolCheck{ToolCheck: r}
	})
	taken(t, must[*pb.RecordCorrectionsResponse](t)(c.control.RecordCorrections(ctx, &pb.RecordCorrectionsRequest{Corrections: list})).Outcomes)
	for _, m := range list {
		got := must[*pb.Correction](t)(c.control.GetCorrection(ctx, &pb.GetCorrectionRequest{Name: m.Name}))
		stripServerFields(got.ProtoReflect())
		if d := cmp.Diff(m, got, protocmp.Transform()); d != "" {
			t.Errorf("%s: %s", m.Corrects, d)
		}
	}

	// A sign-off has no replacement, and can be withdrawn.
	off := signOff("2026-03-02T12:00:00Z", theJoint, inspector)
	taken(t, must[*pb.RecordSignOffsResponse](t)(c.control.RecordSignOffs(ctx, &pb.RecordSignOffsRequest{SignOffs: []*pb.SignOff{off}})).Outcomes)
	gone := correction(when, off.Name)
	gone.Entry = late(when, inspector) // whoever may sign off may take it back
	if got := correct(t, c, gone); got != "TAKEN "+gone.Name {
		t.Error(got)
	}
	if got := must[*pb.Correction](t)(c.control.GetCorrection(ctx, &pb.GetCorrectionRequest{Name: gone.Name})); got.Corrects != off.Name {
		t.Errorf("%v", got)
	}
	if got := must[*pb.SignOff](t)(c.control.GetSignOff(ctx, &pb.GetSignOffRequest{Name: off.Name})); got.Entry.CorrectedBy != gone.Name {
		t.Errorf("%v", got)
	}
}
