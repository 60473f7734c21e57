package wire

import (
	"strconv"
	"strings"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// SpecificationFrom reads a specification that a client asks for, without its name.
func SpecificationFrom(_ *Problems, m *pb.Specification) ledger.Specification {
	s := ledger.Specification{
		Fastener:               FastenerFrom(m.GetFastener()),
		Treatment:              Word[ledger.Treatment](m.GetTreatment()),
		Locking:                Word[ledger.LockingMethod](m.GetLockingMethod()),
		TorqueNewtonMetres:     m.GetTorqueNewtonMetres(),
		TorqueTolerancePercent: m.GetTorqueTolerancePercent(),
		TorqueBasis:            Word[ledger.TorqueBasis](m.GetTorqueBasis()),
		NutFactor:              m.GetNutFactor(),
		TorqueToolRequired:     m.GetTorqueToolRequired(),
		Sealant:                m.GetSealant(),
		SealWidthMillimetres:   m.GetSealWidthMillimetres(),
	}
	if m != nil && m.MinimumSurfaceCelsius != nil {
		s.MinimumSurfaceCelsius = new(*m.MinimumSurfaceCelsius)
	}
	return s
}

// SpecificationTo names the specification, without its revision.
func SpecificationTo(s ledger.Specification) *pb.Specification {
	m := &pb.Specification{
		Name:                   ResourceName("specifications", s.Code),
		Revision:               int32(s.Version),
		Fastener:               FastenerTo(s.Fastener),
		Treatment:              pb.Treatment(s.Treatment),
		LockingMethod:          pb.LockingMethod(s.Locking),
		TorqueNewtonMetres:     s.TorqueNewtonMetres,
		TorqueTolerancePercent: s.TorqueTolerancePercent,
		TorqueBasis:            pb.TorqueBasis(s.TorqueBasis),
		NutFactor:              s.NutFactor,
		TorqueToolRequired:     s.TorqueToolRequired,
		Sealant:                s.Sealant,
		SealWidthMillimetres:   s.SealWidthMillimetres,
		Etag:                   EtagOf(s.Version),
		CreateTime:             Timestamp(s.CreateTime),
		UpdateTime:             Timestamp(s.UpdateTime),
	}
	if s.MinimumSurfaceCelsius != nil {
		m.MinimumSurfaceCelsius = new(*s.MinimumSurfaceCelsius)
	}
	return m
}

// RevisionTo names one revision of a specification. It has no etag: a revision
// never changes.
func RevisionTo(s ledger.Specification) *pb.Specification {
	m := SpecificationTo(s)
	m.Name = RevisionName(ledger.SpecificationRef{Code: s.Code, Revision: s.Version})
	m.Etag = ""
	return m
}

// RevisionName reads the full resource name of a revision in a field; it must be given.
func RevisionName(r ledger.SpecificationRef) string {
	if r.Code == "" {
		return ""
	}
	return "specifications/" + r.Code + "@" + strconv.Itoa(r.Revision)
}

// SpecificationName reads the name of a specification, not of a revision.
func SpecificationName(p *Problems, field, name string) string {
	ref := RevisionOf(p, field, name)
	if ref.Revision != 0 {
		p.Add(field, "%q names one revision, which never changes; expected specifications/%s", name, ref.Code)
	}
	return ref.Code
}

// RevisionOf reads the name of a specification or of one of its revisions;
// revision 0 stands for the newest.
func RevisionOf(p *Problems, field, name string) ledger.SpecificationRef {
	code := p.Required(field, "specifications", name)
	code, digits, one := strings.Cut(code, "@")
	if !one {
		return ledger.SpecificationRef{Code: code}
	}
	n, err := strconv.ParseInt(digits, 10, 32)
	if err != nil || n < 1 {
		p.Add(field, "%q: the revision %q is not a number from 1", name, digits)
		return ledger.SpecificationRef{}
	}
	return ledger.SpecificationRef{Code: code, Revision: int(n)}
}
