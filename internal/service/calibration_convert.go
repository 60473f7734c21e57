package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func calibrationFrom(p *problems, m *pb.Calibration) *ledger.Calibration {
	r := &ledger.Calibration{
		Entry:       entryFrom(p, "calibrations", m.GetName(), m.GetEntry()),
		Tool:        p.reference("tool", "tools", m.GetTool()),
		Laboratory:  m.GetLaboratory(),
		Certificate: m.GetCertificate(),
	}
	for _, point := range m.GetPoints() {
		r.Points = append(r.Points, ledger.CalibrationPoint{
			Phase:                           word[ledger.CalibrationPhase](point.GetPhase()),
			TargetNewtonMetres:              point.GetTargetNewtonMetres(),
			ReadingsNewtonMetres:            point.GetReadingsNewtonMetres(),
			ExpandedUncertaintyNewtonMetres: point.GetExpandedUncertaintyNewtonMetres(),
			CoverageFactor:                  point.GetCoverageFactor(),
		})
	}
	return r
}

func calibrationTo(r *ledger.Calibration) *pb.Calibration {
	m := &pb.Calibration{
		Name:        ledger.RecordResource(r),
		Tool:        resourceName("tools", r.Tool),
		Laboratory:  r.Laboratory,
		Certificate: r.Certificate,
		Entry:       entryTo(r.Entry),
		Site:        resourceName("sites", r.Site),
	}
	for _, p := range r.Points {
		m.Points = append(m.Points, &pb.CalibrationPoint{
			Phase:                           pb.CalibrationPhase(p.Phase),
			TargetNewtonMetres:              p.TargetNewtonMetres,
			ReadingsNewtonMetres:            p.ReadingsNewtonMetres,
			ExpandedUncertaintyNewtonMetres: p.ExpandedUncertaintyNewtonMetres,
			CoverageFactor:                  p.CoverageFactor,
		})
	}
	return m
}
