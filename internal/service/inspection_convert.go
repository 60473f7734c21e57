package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func inspectionFrom(p *problems, m *pb.Inspection) *ledger.Inspection {
	return &ledger.Inspection{
		Entry:                entryFrom(p, "inspections", m.GetName(), m.GetEntry()),
		Joint:                p.place("joint", m.GetJoint()),
		Kind:                 word[ledger.InspectionKind](m.GetKind()),
		Sample:               int(m.GetSample()),
		Plan:                 m.GetPlan(),
		ReadingsNewtonMetres: m.GetReadingsNewtonMetres(),
		Result:               word[ledger.InspectionResult](m.GetResult()),
		Tool:                 p.reference("tool", "tools", m.GetTool()),
	}
}

func inspectionTo(r *ledger.Inspection) *pb.Inspection {
	return &pb.Inspection{
		Name:                 ledger.RecordResource(r),
		Joint:                r.Joint.Resource(),
		Kind:                 pb.InspectionKind(r.Kind),
		Sample:               int32(r.Sample),
		Plan:                 r.Plan,
		ReadingsNewtonMetres: r.ReadingsNewtonMetres,
		Result:               pb.InspectionResult(r.Result),
		Tool:                 resourceName("tools", r.Tool),
		Entry:                entryTo(r.Entry),
	}
}
