package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// InspectionFrom reads an inspection that a client made, without what only the server says.
func InspectionFrom(p *Problems, m *pb.Inspection) *ledger.Inspection {
	return &ledger.Inspection{
		Entry:                EntryFrom(p, "inspections", m.GetName(), m.GetEntry()),
		Joint:                p.Place("joint", m.GetJoint()),
		Kind:                 Word[ledger.InspectionKind](m.GetKind()),
		Sample:               int(m.GetSample()),
		Plan:                 m.GetPlan(),
		ReadingsNewtonMetres: m.GetReadingsNewtonMetres(),
		Result:               Word[ledger.InspectionResult](m.GetResult()),
		Tool:                 p.Reference("tool", "tools", m.GetTool()),
	}
}

// InspectionTo writes an inspection.
func InspectionTo(r *ledger.Inspection) *pb.Inspection {
	return &pb.Inspection{
		Name:                 ledger.RecordResource(r),
		Joint:                r.Joint.Resource(),
		Kind:                 pb.InspectionKind(r.Kind),
		Sample:               int32(r.Sample),
		Plan:                 r.Plan,
		ReadingsNewtonMetres: r.ReadingsNewtonMetres,
		Result:               pb.InspectionResult(r.Result),
		Tool:                 ResourceName("tools", r.Tool),
		Entry:                EntryTo(r.Entry),
	}
}
