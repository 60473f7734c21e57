package wire

import (
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// The functions of this file read things as a server gives them: by their names,
// with their version and times. Those that read what a client asks to register
// stand beside each thing.

// revised is what every thing's message has.
type revised interface {
	GetEtag() string
	GetCreateTime() *timestamppb.Timestamp
	GetUpdateTime() *timestamppb.Timestamp
}

// revisionFrom reads what the server adds to a thing. An etag that is none of ours
// is a problem.
func revisionFrom(p *Problems, m revised) ledger.Revision {
	version, err := VersionOf(m.GetEtag(), "thing", "")
	if err != nil {
		p.Add("etag", "%q is not one that a server gives", m.GetEtag())
	}
	return ledger.Revision{Version: version, CreateTime: p.Time("create_time", m.GetCreateTime()), UpdateTime: p.Time("update_time", m.GetUpdateTime())}
}

// KeptSite reads a site as a server gives it.
func KeptSite(p *Problems, m *pb.Site) ledger.Site {
	s := SiteFrom(p, m)
	s.Code, s.Revision = SiteName(p, "name", m.GetName()), revisionFrom(p, m)
	return s
}

// KeptTower reads a tower as a server gives it.
func KeptTower(p *Problems, m *pb.Tower) ledger.Tower {
	t := TowerFrom(p, m)
	t.Place, t.Revision = TowerName(p, "name", m.GetName()), revisionFrom(p, m)
	return t
}

// KeptCell reads a cell as a server gives it.
func KeptCell(p *Problems, m *pb.Cell) ledger.Cell {
	c := CellFrom(p, m)
	c.Place, c.Revision = CellName(p, "name", m.GetName()), revisionFrom(p, m)
	return c
}

// KeptJoint reads a joint as a server gives it.
func KeptJoint(p *Problems, m *pb.Joint) ledger.Joint {
	j := JointFrom(p, m)
	j.Place, j.Revision = JointName(p, "name", m.GetName()), revisionFrom(p, m)
	return j
}

// KeptSpecification reads a specification, or one revision of it, as a server gives
// it: the version is the revision.
func KeptSpecification(p *Problems, m *pb.Specification) ledger.Specification {
	s := SpecificationFrom(p, m)
	ref := RevisionOf(p, "name", m.GetName())
	s.Code, s.Revision = ref.Code, revisionFrom(p, m)
	s.Version = int(m.GetRevision())
	return s
}

// KeptLot reads a lot as a server gives it.
func KeptLot(p *Problems, m *pb.Lot) ledger.Lot {
	l := LotFrom(p, m)
	l.Number, l.Revision = LotName(p, "name", m.GetName()), revisionFrom(p, m)
	return l
}

// KeptTool reads a tool as a server gives it.
func KeptTool(p *Problems, m *pb.Tool) ledger.Tool {
	t := ToolFrom(p, m)
	t.Serial, t.Revision = ToolName(p, "name", m.GetName()), revisionFrom(p, m)
	return t
}

// KeptPerson reads a person as a server gives one.
func KeptPerson(p *Problems, m *pb.Person) ledger.Person {
	person := PersonFrom(p, m)
	person.ID, person.Revision = PersonName(p, "name", m.GetName()), revisionFrom(p, m)
	return person
}

// KeptBatch reads a batch of a consumable as a server gives it.
func KeptBatch(p *Problems, m *pb.Batch) ledger.Batch {
	b := BatchFrom(p, m)
	b.Number, b.Revision = BatchName(p, "name", m.GetName()), revisionFrom(p, m)
	return b
}

// KeptSubstitution reads a substitution as a server gives it.
func KeptSubstitution(p *Problems, m *pb.Substitution) ledger.Substitution {
	s := SubstitutionFrom(p, m)
	s.Code, s.Revision = SubstitutionName(p, "name", m.GetName()), revisionFrom(p, m)
	return s
}
