package service

import (
	"slices"
	"strings"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func substitutionFrom(p *problems, m *pb.Substitution) ledger.Substitution {
	return ledger.Substitution{
		Specification:      p.reference("specification", "specifications", m.GetSpecification()),
		Permitted:          fastenerFrom(m.GetPermitted()),
		Needs:              m.GetNeeds(),
		TorqueNewtonMetres: m.GetTorqueNewtonMetres(),
		ApprovedBy:         m.GetApprovedBy(),
	}
}

func substitutionTo(s ledger.Substitution) *pb.Substitution {
	return &pb.Substitution{
		Name:               resourceName("substitutions", s.Code),
		Specification:      resourceName("specifications", s.Specification),
		Permitted:          fastenerTo(s.Permitted),
		Needs:              s.Needs,
		TorqueNewtonMetres: s.TorqueNewtonMetres,
		ApprovedBy:         s.ApprovedBy,
		Etag:               etagOf(s.Version),
		CreateTime:         timestamp(s.CreateTime),
		UpdateTime:         timestamp(s.UpdateTime),
	}
}

var substitutionFields = slices.Concat(
	[]field[ledger.Substitution]{
		{"specification", func(dst, src *ledger.Substitution) { dst.Specification = src.Specification }},
	},
	permittedFields(),
	[]field[ledger.Substitution]{
		{"needs", func(dst, src *ledger.Substitution) { dst.Needs = src.Needs }},
		{"torque_newton_metres", func(dst, src *ledger.Substitution) { dst.TorqueNewtonMetres = src.TorqueNewtonMetres }},
		{"approved_by", func(dst, src *ledger.Substitution) { dst.ApprovedBy = src.ApprovedBy }},
	},
)

// permittedFields are those of the fastener, which a substitution has under
// another name.
func permittedFields() []field[ledger.Substitution] {
	fields := fastenerFields(func(s *ledger.Substitution) *ledger.Fastener { return &s.Permitted })
	for i, f := range fields {
		fields[i].path = "permitted" + strings.TrimPrefix(f.path, "fastener")
	}
	return fields
}

func substitutionName(p *problems, field, name string) string {
	return p.required(field, "substitutions", name)
}
