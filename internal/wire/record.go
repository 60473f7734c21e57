package wire

import (
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// RecordFrom reads a record that a client made, of whatever kind its message is.
// The record is nil when the message is of no kind that clients make; else it is to
// be validated besides, even where there are problems (see Problems.Invalid). What
// only the server says is left out, see KeptRecord.
func RecordFrom(m proto.Message) (ledger.Record, Problems) {
	var p Problems
	switch m := m.(type) {
	case *pb.Tightening:
		return TighteningFrom(&p, m), p
	case *pb.Incident:
		return IncidentFrom(&p, m), p
	case *pb.Sealing:
		return SealingFrom(&p, m), p
	case *pb.Inspection:
		return InspectionFrom(&p, m), p
	case *pb.CustodyChange:
		return CustodyFrom(&p, m), p
	case *pb.Calibration:
		return CalibrationFrom(&p, m), p
	case *pb.LotMovement:
		return LotMovementFrom(&p, m), p
	case *pb.Hold:
		return HoldFrom(&p, m), p
	case *pb.Disposition:
		return DispositionFrom(&p, m), p
	case *pb.SignOff:
		return SignOffFrom(&p, m), p
	case *pb.Correction:
		return CorrectionFrom(&p, m), p
	case *pb.ToolCheck:
		return ToolCheckFrom(&p, m), p
	case *pb.Alarm:
		p.Add("record", "is an alarm, which only the server makes")
	default:
		p.Add("record", "is not given, or of a kind that this version does not know")
	}
	return nil, p
}

// RecordTo writes a record of any kind; nil for nil. What a record knows by its id
// alone is named `records/{id}`, since its kind is not known here: the cause of a
// hold or an alarm, and what a correction without a replacement corrects.
func RecordTo(r ledger.Record) proto.Message {
	switch r := r.(type) {
	case *ledger.Tightening:
		return TighteningTo(r)
	case *ledger.Incident:
		return IncidentTo(r)
	case *ledger.Sealing:
		return SealingTo(r)
	case *ledger.Inspection:
		return InspectionTo(r)
	case *ledger.Custody:
		return CustodyTo(r)
	case *ledger.Calibration:
		return CalibrationTo(r)
	case *ledger.LotMovement:
		return LotMovementTo(r)
	case *ledger.Hold:
		m := HoldTo(r)
		m.Cause = nameOfUnknown(r.Cause)
		return m
	case *ledger.Disposition:
		return DispositionTo(r)
	case *ledger.SignOff:
		return SignOffTo(r)
	case *ledger.ToolCheck:
		return ToolCheckTo(r)
	case *ledger.Correction:
		return correctionWhole(r)
	case *ledger.Alarm:
		m := AlarmTo(r)
		m.Cause = nameOfUnknown(r.Cause)
		return m
	}
	return nil
}

func nameOfUnknown(id uuid.UUID) string {
	if id == uuid.Nil {
		return ""
	}
	return ledger.RecordName(0, id)
}

func correctionWhole(r *ledger.Correction) *pb.Correction {
	m := CorrectionTo(r)
	m.Corrects = nameOfUnknown(r.Corrects)
	if r.With == nil {
		return m
	}
	kind := r.With.RecordKind()
	if PutReplacement(m, kind, ledger.RecordResource(r.With), r.With) == nil {
		m.Corrects = ledger.RecordName(kind, r.Corrects)
	}
	return m
}

// KeptRecord reads a record as a server gives it, with what only the server says:
// when it came in and its place in the chain, by what it was corrected, the revision
// in force, a calibration's site and verdict, the rule and the cause of a hold. An
// alarm is read too.
func KeptRecord(m proto.Message) (ledger.Record, Problems) {
	if alarm, ok := m.(*pb.Alarm); ok {
		var p Problems
		return alarmFrom(&p, alarm), p
	}
	r, p := RecordFrom(m)
	switch m := m.(type) {
	case *pb.Tightening:
		r.(*ledger.Tightening).Specification = p.revision(m.GetSpecification())
	case *pb.Incident:
		r.(*ledger.Incident).Specification = p.revision(m.GetSpecification())
	case *pb.Sealing:
		r.(*ledger.Sealing).Specification = p.revision(m.GetSpecification())
	case *pb.Calibration:
		c := r.(*ledger.Calibration)
		c.Site, c.Verdict = p.Site("site", m.GetSite()), verdictFrom(m.GetVerdict())
	case *pb.Hold:
		h := r.(*ledger.Hold)
		h.Rule, h.Cause = m.GetRule(), p.anyID("cause", m.GetCause())
		h.ReleasedBy = p.anyID("released_by", m.GetReleasedBy())
	case *pb.Correction:
		c := r.(*ledger.Correction)
		keptReplacement(&p, c, m)
	}
	if with, ok := m.(interface{ GetEntry() *pb.Entry }); ok && r != nil {
		keptEntry(&p, r.Head(), with.GetEntry())
	}
	return r, p
}

// keptReplacement reads the replacement once more, as the server gives it.
func keptReplacement(p *Problems, c *ledger.Correction, m *pb.Correction) {
	if c.With == nil {
		return
	}
	r := m.ProtoReflect()
	field := r.Descriptor().Fields().ByName(protoreflect.Name(ReplacementField(m)))
	with, inside := KeptRecord(r.Get(field).Message().Interface())
	c.With = with
	for _, f := range inside {
		if at := Replacement + "." + f.Field; !p.About(at) {
			p.Add(at, "%s", f.Description)
		}
	}
}

// revision reads the revision in force, which the server gives.
func (p *Problems) revision(name string) ledger.SpecificationRef {
	if name == "" {
		return ledger.SpecificationRef{}
	}
	ref := RevisionOf(p, "specification", name)
	if ref.Code != "" && ref.Revision == 0 {
		p.Add("specification", "%q has no revision", name)
	}
	return ref
}

// anyID reads the id out of the name of a record of any kind, also of one whose
// kind the giver did not know; zero for an empty name.
func (p *Problems) anyID(field, name string) uuid.UUID {
	if name == "" {
		return uuid.Nil
	}
	collection, text, _ := strings.Cut(name, "/")
	id, err := uuid.Parse(text)
	if _, known := collections()[collection]; err != nil || !known && collection != "records" {
		p.Add(field, "%q is not the name of a record", name)
		return uuid.Nil
	}
	return id
}

// keptEntry reads what the server added to an entry.
func keptEntry(p *Problems, e *ledger.Entry, m *pb.Entry) {
	e.ReceiveTime, e.Sequence = p.Time("entry.receive_time", m.GetReceiveTime()), m.GetChainSequence()
	e.CorrectedBy = p.anyID("entry.corrected_by", m.GetCorrectedBy())
	link := m.GetChainLink()
	switch len(link) {
	case 0:
	case len(e.Link):
		if e.Link = ledger.Link(link); e.Sequence == 0 {
			p.Add("entry.chain_link", "is given without the place in the chain")
		}
	default:
		p.Add("entry.chain_link", "has %d bytes; expected %d", len(link), len(e.Link))
	}
}
