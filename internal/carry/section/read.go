package section

import (
	"fmt"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/known"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// reading is one section being read.
type reading struct {
	name     string
	problems wire.Problems
}

// parse reads the content of a section into its message.
func (r *reading) parse(content []byte, m proto.Message) error {
	if err := proto.Unmarshal(content, m); err != nil {
		return fmt.Errorf("the carried section %s can't be read: %w", r.name, err)
	}
	return nil
}

// done gives the error of what could be parsed and means nothing.
func (r *reading) done() error {
	if len(r.problems) == 0 {
		return nil
	}
	return fmt.Errorf("the carried section %s can't be read: %s: %s", r.name, r.problems[0].Field, r.problems[0].Description)
}

// revision reads what every thing carries besides its content.
func (r *reading) revision(m interface {
	GetEtag() string
	GetCreateTime() *timestamppb.Timestamp
	GetUpdateTime() *timestamppb.Timestamp
}) ledger.Revision {
	version, err := wire.VersionOf(m.GetEtag(), "thing", "")
	if err != nil {
		r.problems.Add("etag", "%v", err)
	}
	return ledger.Revision{Version: version, CreateTime: r.problems.Time("create_time", m.GetCreateTime()), UpdateTime: r.problems.Time("update_time", m.GetUpdateTime())}
}

// kept reads a record with what the server added to it; nil when it is of another
// kind, which is among the problems.
func kept[R ledger.Record](r *reading, m proto.Message) (record R) {
	found, problems := wire.KeptRecord(m)
	r.problems = append(r.problems, problems...)
	record, ok := found.(R)
	if !ok {
		r.problems.Add("record", "is not of the kind that it should be")
	}
	return record
}

// PlanRead is the section of the site.
type PlanRead struct {
	Site   ledger.Site
	Towers []ledger.Tower
}

// ReadPlan reads the section of the site.
func ReadPlan(content []byte) (p PlanRead, err error) {
	r, m := &reading{name: Plan}, &pb.CarriedPlan{}
	if err := r.parse(content, m); err != nil {
		return p, err
	}
	p.Site = wire.SiteFrom(&r.problems, m.GetSite())
	p.Site.Code, p.Site.Revision = wire.SiteName(&r.problems, "name", m.GetSite().GetName()), r.revision(m.GetSite())
	for _, t := range m.GetTowers() {
		one := wire.TowerFrom(&r.problems, t)
		one.Place, one.Revision = wire.TowerName(&r.problems, "name", t.GetName()), r.revision(t)
		p.Towers = append(p.Towers, one)
	}
	return p, r.done()
}

// ReadCell reads the section of a cell.
func ReadCell(name string, content []byte) (c known.CellPast, err error) {
	r, m := &reading{name: name}, &pb.CarriedCell{}
	if err := r.parse(content, m); err != nil {
		return c, err
	}
	c.Cell = wire.CellFrom(&r.problems, m.GetCell())
	c.Cell.Place, c.Cell.Revision = wire.CellName(&r.problems, "name", m.GetCell().GetName()), r.revision(m.GetCell())
	c.Joints = make([]known.JointWork, len(m.GetJoints()))
	for i, j := range m.GetJoints() {
		c.Joints[i] = r.joint(c.Cell.Place, j, m.GetWords())
	}
	r.tightenings(m.GetTightenings(), m.GetWords(), c.Joints)
	for _, h := range m.GetHolds() {
		hold := kept[*ledger.Hold](r, h)
		if hold == nil {
			continue
		}
		if hold.Site != hold.SiteCode() {
			r.problems.Add("holds.site", "%s is not the place's site %s", hold.Site, hold.SiteCode())
		}
		c.Holds = append(c.Holds, hold)
		for i := range c.Joints {
			if hold.Place == c.Cell.Place || hold.Place == c.Joints[i].Joint.Place {
				c.Joints[i].Work.OnHold = true
			}
		}
	}
	return c, r.done()
}

// word is one of the words of a cell by its place.
func (r *reading) word(words []string, n uint32) string {
	if int(n) >= len(words) {
		r.problems.Add("words", "has no place %d", n)
		return ""
	}
	return words[n]
}

func (r *reading) joint(cell ledger.Place, m *pb.CarriedJoint, words []string) (j known.JointWork) {
	word := func(n uint32) string { return r.word(words, n) }
	cell.Joint = m.GetTag()
	j.Joint = ledger.Joint{
		Place: cell, Kind: wire.Word[ledger.JointKind](m.GetKind()), Critical: m.GetCritical(),
		PartA: word(m.GetPartA()), PartB: word(m.GetPartB()), Specification: word(m.GetSpecification()), Fasteners: int(m.GetFasteners()),
	}
	j.Work = ledger.JointWork{
		SealRequired: m.GetSealRequired(), Fasteners: j.Joint.Fasteners, TightenedFirst: m.GetTightened(),
		Sealed: m.GetSealed(), SignedOff: m.GetSignedOff(), Inspections: map[ledger.InspectionKind]ledger.InspectionResult{},
	}
	for _, i := range m.GetInspections() {
		// A kind that a newer server knows is none that is asked for here.
		if kind := wire.Word[ledger.InspectionKind](i.GetKind()); ledger.InspectionKinds.Known(kind) {
			j.Work.Inspections[kind] = wire.Word[ledger.InspectionResult](i.GetResult())
		}
	}
	return j
}

// tightenings reads the columns into the joints. A server of an earlier version does
// not send what they were done with.
func (r *reading) tightenings(m *pb.CarriedTightenings, words []string, joints []known.JointWork) {
	n := len(m.GetJoints())
	with := len(m.GetTightened())
	if len(m.GetLots()) != with || len(m.GetTools()) != with || with != n && with != 0 {
		r.problems.Add("tightenings", "has lists of different lengths")
		return
	}
	if len(m.GetIds()) != 16*n || len(m.GetTimeSteps()) != n || len(m.GetTreatments()) != n || len(m.GetFasteners()) != n {
		r.problems.Add("tightenings", "has lists of different lengths")
		return
	}
	at := int64(0)
	for i, joint := range m.GetJoints() {
		if int(joint) >= len(joints) {
			r.problems.Add("tightenings.joints", "has no joint %d", joint)
			return
		}
		at += m.GetTimeSteps()[i]
		one := known.Tightened{
			ID: uuid.UUID(m.GetIds()[16*i : 16*i+16]), At: time.UnixMicro(at).UTC(),
			Treatment: wire.Word[ledger.Treatment](m.GetTreatments()[i]), Fasteners: int(m.GetFasteners()[i]),
		}
		if with > 0 {
			one.Driven, one.Lot, one.Tool = int(m.GetTightened()[i]), r.word(words, m.GetLots()[i]), r.word(words, m.GetTools()[i])
		}
		joints[joint].Tightenings = append(joints[joint].Tightenings, one)
	}
}

// ReadSpecification reads the section of a specification.
func ReadSpecification(name string, content []byte) (s known.SpecificationPast, err error) {
	r, m := &reading{name: name}, &pb.CarriedSpecification{}
	if err := r.parse(content, m); err != nil {
		return s, err
	}
	for _, v := range m.GetRevisions() {
		one := wire.SpecificationFrom(&r.problems, v)
		one.Code, one.Revision = wire.SpecificationName(&r.problems, "name", v.GetName()), r.revision(v)
		s.Code, s.Revisions = one.Code, append(s.Revisions, one)
	}
	for _, v := range m.GetSubstitutions() {
		one := wire.SubstitutionFrom(&r.problems, v)
		one.Code, one.Revision = wire.SubstitutionName(&r.problems, "name", v.GetName()), r.revision(v)
		s.Substitutions = append(s.Substitutions, one)
	}
	return s, r.done()
}

func (r *reading) spans(spans []*pb.CarriedSpan) (out []known.Span) {
	for _, s := range spans {
		one := known.Span{From: r.problems.Time("start_time", s.GetStartTime()), To: r.problems.Time("end_time", s.GetEndTime())}
		if b := s.GetId(); len(b) > 0 {
			var err error
			if one.ID, err = uuid.FromBytes(b); err != nil {
				r.problems.Add("holds.id", "%v", err)
			}
		}
		out = append(out, one)
	}
	return out
}

// ReadLot reads the section of a lot.
func ReadLot(name string, content []byte) (l known.LotPast, err error) {
	r, m := &reading{name: name}, &pb.CarriedLot{}
	if err := r.parse(content, m); err != nil {
		return l, err
	}
	l = known.LotPast{
		Lot: wire.LotFrom(&r.problems, m.GetLot()), Holds: r.spans(m.GetHolds()),
		MovedAnywhere: m.GetMoved(), Received: m.GetReceived(), OnHand: m.GetOnHand(),
		CountTime: r.problems.Time("count_time", m.GetCountTime()),
	}
	l.Lot.Number, l.Lot.Revision = wire.LotName(&r.problems, "name", m.GetLot().GetName()), r.revision(m.GetLot())
	return l, r.done()
}

// ReadPeople reads the section of the people.
func ReadPeople(content []byte) (people []ledger.Person, err error) {
	r, m := &reading{name: People}, &pb.CarriedPeople{}
	if err := r.parse(content, m); err != nil {
		return nil, err
	}
	for _, v := range m.GetPeople() {
		one := wire.PersonFrom(&r.problems, v)
		one.ID, one.Revision = wire.PersonName(&r.problems, "name", v.GetName()), r.revision(v)
		people = append(people, one)
	}
	return people, r.done()
}

// ReadBatches reads the section of the batches.
func ReadBatches(content []byte) (batches []ledger.Batch, err error) {
	r, m := &reading{name: Batches}, &pb.CarriedBatches{}
	if err := r.parse(content, m); err != nil {
		return nil, err
	}
	for _, v := range m.GetBatches() {
		one := wire.BatchFrom(&r.problems, v)
		one.Number, one.Revision = wire.BatchName(&r.problems, "name", v.GetName()), r.revision(v)
		batches = append(batches, one)
	}
	return batches, r.done()
}
