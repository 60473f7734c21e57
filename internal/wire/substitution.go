package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// SubstitutionFrom reads a substitution that a client asks for, without its name.
func SubstitutionFrom(p *Problems, m *pb.Substitution) ledger.Substitution {
	return ledger.Substitution{
		Specification:      p.Reference("specification", "specifications", m.GetSpecification()),
		Permitted:          FastenerFrom(m.GetPermitted()),
		Needs:              m.GetNeeds(),
		TorqueNewtonMetres: m.GetTorqueNewtonMetres(),
		ApprovedBy:         m.GetApprovedBy(),
	}
}

// SubstitutionTo writes a substitution.
func SubstitutionTo(s ledger.Substitution) *pb.Substitution {
	return &pb.Substitution{
		Name:               ResourceName("substitutions", s.Code),
		Specification:      ResourceName("specifications", s.Specification),
		Permitted:          FastenerTo(s.Permitted),
		Needs:              s.Needs,
		TorqueNewtonMetres: s.TorqueNewtonMetres,
		ApprovedBy:         s.ApprovedBy,
		Etag:               EtagOf(s.Version),
		CreateTime:         Timestamp(s.CreateTime),
		UpdateTime:         Timestamp(s.UpdateTime),
	}
}

// SubstitutionName reads the full resource name of a substitution in a field; it must be given.
func SubstitutionName(p *Problems, field, name string) string {
	return p.Required(field, "substitutions", name)
}
