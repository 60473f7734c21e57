package service

import (
	"slices"
	"strconv"
	"strings"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func specificationFrom(_ *problems, m *pb.Specification) ledger.Specification {
	s := ledger.Specification{
		Fastener:               fastenerFrom(m.GetFastener()),
		Treatment:              word[ledger.Treatment](m.GetTreatment()),
		Locking:                word[ledger.LockingMethod](m.GetLockingMethod()),
		TorqueNewtonMetres:     m.GetTorqueNewtonMetres(),
		TorqueTolerancePercent: m.GetTorqueTolerancePercent(),
		TorqueBasis:            word[ledger.TorqueBasis](m.GetTorqueBasis()),
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

// specificationTo names the specification, without its revision.
func specificationTo(s ledger.Specification) *pb.Specification {
	m := &pb.Specification{
		Name:                   resourceName("specifications", s.Code),
		Revision:               int32(s.Version),
		Fastener:               fastenerTo(s.Fastener),
		Treatment:              pb.Treatment(s.Treatment),
		LockingMethod:          pb.LockingMethod(s.Locking),
		TorqueNewtonMetres:     s.TorqueNewtonMetres,
		TorqueTolerancePercent: s.TorqueTolerancePercent,
		TorqueBasis:            pb.TorqueBasis(s.TorqueBasis),
		NutFactor:              s.NutFactor,
		TorqueToolRequired:     s.TorqueToolRequired,
		Sealant:                s.Sealant,
		SealWidthMillimetres:   s.SealWidthMillimetres,
		Etag:                   etagOf(s.Version),
		CreateTime:             timestamp(s.CreateTime),
		UpdateTime:             timestamp(s.UpdateTime),
	}
	if s.MinimumSurfaceCelsius != nil {
		m.MinimumSurfaceCelsius = new(*s.MinimumSurfaceCelsius)
	}
	return m
}

// revisionTo names one revision of a specification. It has no etag: a revision
// never changes.
func revisionTo(s ledger.Specification) *pb.Specification {
	m := specificationTo(s)
	m.Name = revisionName(ledger.SpecificationRef{Code: s.Code, Revision: s.Version})
	m.Etag = ""
	return m
}

func revisionName(r ledger.SpecificationRef) string {
	if r.Code == "" {
		return ""
	}
	return "specifications/" + r.Code + "@" + strconv.Itoa(r.Revision)
}

var specificationFields = slices.Concat(
	fastenerFields(func(s *ledger.Specification) *ledger.Fastener { return &s.Fastener }),
	[]field[ledger.Specification]{
		{"treatment", func(dst, src *ledger.Specification) { dst.Treatment = src.Treatment }},
		{"locking_method", func(dst, src *ledger.Specification) { dst.Locking = src.Locking }},
		{"torque_newton_metres", func(dst, src *ledger.Specification) { dst.TorqueNewtonMetres = src.TorqueNewtonMetres }},
		{"torque_tolerance_percent", func(dst, src *ledger.Specification) { dst.TorqueTolerancePercent = src.TorqueTolerancePercent }},
		{"torque_basis", func(dst, src *ledger.Specification) { dst.TorqueBasis = src.TorqueBasis }},
		{"nut_factor", func(dst, src *ledger.Specification) { dst.NutFactor = src.NutFactor }},
		{"torque_tool_required", func(dst, src *ledger.Specification) { dst.TorqueToolRequired = src.TorqueToolRequired }},
		{"sealant", func(dst, src *ledger.Specification) { dst.Sealant = src.Sealant }},
		{"seal_width_millimetres", func(dst, src *ledger.Specification) { dst.SealWidthMillimetres = src.SealWidthMillimetres }},
		{"minimum_surface_celsius", func(dst, src *ledger.Specification) { dst.MinimumSurfaceCelsius = src.MinimumSurfaceCelsius }},
	},
)

// specificationName reads the name of a specification, not of a revision.
func specificationName(p *problems, field, name string) string {
	ref := revisionOf(p, field, name)
	if ref.Revision != 0 {
		p.add(field, "%q names one revision, which never changes; expected specifications/%s", name, ref.Code)
	}
	return ref.Code
}

// revisionOf reads the name of a specification or of one of its revisions;
// revision 0 stands for the newest.
func revisionOf(p *problems, field, name string) ledger.SpecificationRef {
	code := p.required(field, "specifications", name)
	code, digits, one := strings.Cut(code, "@")
	if !one {
		return ledger.SpecificationRef{Code: code}
	}
	n, err := strconv.ParseInt(digits, 10, 32)
	if err != nil || n < 1 {
		p.add(field, "%q: the revision %q is not a number from 1", name, digits)
		return ledger.SpecificationRef{}
	}
	return ledger.SpecificationRef{Code: code, Revision: int(n)}
}
