package section

import (
	"fmt"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	"jointledger/internal/analysis"
	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func written(name string, m proto.Message) (Section, error) {
	content, err := proto.MarshalOptions{Deterministic: true}.Marshal(m)
	if err != nil {
		return Section{}, fmt.Errorf("the carried section %s can't be written: %w", name, err)
	}
	return Section{Name: name, Content: content}, nil
}

// OfPlan writes a site and its towers.
func OfPlan(site ledger.Site, towers []ledger.Tower) (Section, error) {
	m := &pb.CarriedPlan{Site: wire.SiteTo(site)}
	for _, t := range towers {
		m.Towers = append(m.Towers, wire.TowerTo(t))
	}
	return written(Plan, m)
}

// OfCell writes a cell with its joints.
func OfCell(c known.CellPast) (Section, error) {
	m := &pb.CarriedCell{Cell: wire.CellTo(c.Cell), Tightenings: &pb.CarriedTightenings{}}
	words := map[string]uint32{}
	word := func(text string) uint32 {
		n, seen := words[text]
		if !seen {
			n = uint32(len(words))
			words[text], m.Words = n, append(m.Words, text)
		}
		return n
	}
	last := int64(0)
	for i, j := range c.Joints {
		one := &pb.CarriedJoint{
			Tag: j.Joint.Place.Joint, Kind: pb.JointKind(j.Joint.Kind), Critical: j.Joint.Critical,
			PartA: word(j.Joint.PartA), PartB: word(j.Joint.PartB), Specification: word(j.Joint.Specification), Fasteners: int32(j.Joint.Fasteners),
			SealRequired: j.Work.SealRequired, Sealed: j.Work.Sealed, Tightened: j.Work.TightenedFirst, SignedOff: j.Work.SignedOff,
		}
		for n := range ledger.InspectionKinds.All() {
			kind := ledger.InspectionKind(n + 1)
			if result, made := j.Work.Inspections[kind]; made {
				one.Inspections = append(one.Inspections, &pb.CarriedInspection{Kind: pb.InspectionKind(kind), Result: pb.InspectionResult(result)})
			}
		}
		m.Joints = append(m.Joints, one)
		for _, t := range j.Tightenings {
			at := t.At.UnixMicro()
			columns := m.Tightenings
			columns.Joints = append(columns.Joints, uint32(i))
			columns.Ids = append(columns.Ids, t.ID[:]...)
			columns.TimeSteps = append(columns.TimeSteps, at-last)
			columns.Treatments = append(columns.Treatments, pb.Treatment(t.Treatment))
			columns.Fasteners = append(columns.Fasteners, uint32(t.Fasteners))
			columns.Tightened = append(columns.Tightened, uint32(t.Driven))
			columns.Lots = append(columns.Lots, word(t.Lot))
			columns.Tools = append(columns.Tools, word(t.Tool))
			last = at
		}
	}
	for _, h := range c.Holds {
		if one, ok := wire.RecordTo(h).(*pb.Hold); ok {
			one.Entry.ChainLink = nil // a device has no use for it, and it compresses badly
			m.Holds = append(m.Holds, one)
		}
	}
	return written(CellName(c.Cell.Place), m)
}

// OfSpecification writes a specification with what may stand in for its fastener.
func OfSpecification(s known.SpecificationPast) (Section, error) {
	m := &pb.CarriedSpecification{}
	for _, r := range s.Revisions {
		m.Revisions = append(m.Revisions, wire.SpecificationTo(r))
	}
	for _, b := range s.Substitutions {
		m.Substitutions = append(m.Substitutions, wire.SubstitutionTo(b))
	}
	return written(Specifications+s.Code, m)
}

func spansTo(spans []known.Span) []*pb.CarriedSpan {
	var out []*pb.CarriedSpan
	for _, s := range spans {
		one := &pb.CarriedSpan{StartTime: wire.Timestamp(s.From), EndTime: wire.Timestamp(s.To)}
		if s.ID != uuid.Nil {
			one.Id = s.ID[:]
		}
		out = append(out, one)
	}
	return out
}

// OfLot writes a lot with its stock.
func OfLot(l known.LotPast) (Section, error) {
	return written(Lots+l.Lot.Number, &pb.CarriedLot{
		Lot: wire.LotTo(l.Lot), Holds: spansTo(l.Holds), Moved: l.MovedAnywhere, Received: l.Received, OnHand: l.OnHand,
		CountTime: wire.Timestamp(l.CountTime),
	})
}

// OfTool writes a tool with what happened to it.
func OfTool(t known.ToolPast) (Section, error) {
	m := &pb.CarriedTool{Tool: wire.ToolTo(t.Tool), HomeTimeZone: t.Home.String(), Holds: spansTo(t.Holds)}
	for i := range t.Calibrations {
		c := wire.CalibrationTo(&t.Calibrations[i])
		c.Entry.ChainLink = nil // as in a hold
		m.Calibrations = append(m.Calibrations, c)
	}
	for _, c := range t.Custody {
		m.Custody = append(m.Custody, &pb.CarriedCustody{
			Id: c.ID[:], Kind: pb.CustodyKind(c.Kind), Site: wire.ResourceName("sites", c.Site), Holder: wire.ResourceName("people", c.Holder), OccurTime: wire.Timestamp(c.OccurTime),
		})
	}
	for _, at := range t.Dropped {
		m.DroppedTimes = append(m.DroppedTimes, wire.Timestamp(at))
	}
	for _, d := range t.Checks {
		m.Checks = append(m.Checks, &pb.CarriedCheck{Action: pb.ToolAction(d.Action), OccurTime: wire.Timestamp(d.At), Failed: d.Failed})
	}
	m.Uses = usesTo(t.Uses)
	return written(Tools+t.Tool.Serial, m)
}

func usesTo(uses []analysis.Use) *pb.CarriedUses {
	if len(uses) == 0 {
		return nil
	}
	m, last := &pb.CarriedUses{}, int64(0)
	for _, u := range uses {
		at := u.At.UnixMicro()
		m.TimeSteps, m.Fasteners, last = append(m.TimeSteps, at-last), append(m.Fasteners, uint32(u.Fasteners)), at
	}
	return m
}

// OfPeople writes people.
func OfPeople(people []ledger.Person) (Section, error) {
	m := &pb.CarriedPeople{}
	for _, p := range people {
		m.People = append(m.People, wire.PersonTo(p))
	}
	return written(People, m)
}

// OfBatches writes batches of consumables.
func OfBatches(batches []ledger.Batch) (Section, error) {
	m := &pb.CarriedBatches{}
	for _, b := range batches {
		m.Batches = append(m.Batches, wire.BatchTo(b))
	}
	return written(Batches, m)
}
