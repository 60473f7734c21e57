package service

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func calibrationFrom(p *problems, m *pb.Calibration) *ledger.Calibration {
	r := &ledger.Calibration{
		Entry:                    entryFrom(p, "calibrations", m.GetName(), m.GetEntry()),
		Tool:                     p.reference("tool", "tools", m.GetTool()),
		Laboratory:               m.GetLaboratory(),
		Certificate:              m.GetCertificate(),
		Document:                 word[ledger.CalibrationDocument](m.GetDocument()),
		Rule:                     word[ledger.DecisionRule](m.GetDecisionRule()),
		StatedVerdict:            word[ledger.Verdict](m.GetStatedVerdict()),
		DeviceUncertaintyPercent: m.GetDeviceUncertaintyPercent(),
	}
	if m != nil {
		r.AirCelsius, r.HumidityPercent = m.AirCelsius, m.HumidityPercent
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
		Name:                     ledger.RecordResource(r),
		Tool:                     resourceName("tools", r.Tool),
		Laboratory:               r.Laboratory,
		Certificate:              r.Certificate,
		Entry:                    entryTo(r.Entry),
		Site:                     resourceName("sites", r.Site),
		Document:                 pb.CalibrationDocument(r.Document),
		DecisionRule:             pb.DecisionRule(r.Rule),
		StatedVerdict:            pb.Verdict(r.StatedVerdict),
		AirCelsius:               r.AirCelsius,
		HumidityPercent:          r.HumidityPercent,
		DeviceUncertaintyPercent: r.DeviceUncertaintyPercent,
		Verdict:                  verdictTo(r.Verdict, r.StatedVerdict),
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

// verdictTo writes the kept verdict, and whether the laboratory's own says
// otherwise.
func verdictTo(v *ledger.CalibrationVerdict, stated ledger.Verdict) *pb.CalibrationVerdict {
	if v == nil {
		return nil
	}
	return &pb.CalibrationVerdict{
		DecisionRule:          pb.DecisionRule(v.Rule),
		Edition:               v.Edition,
		LimitPercent:          v.LimitPercent,
		AsFound:               pb.Verdict(v.AsFound),
		AsLeft:                pb.Verdict(v.AsLeft),
		WorstAsFoundPercent:   v.WorstAsFoundPercent,
		WorstAsLeftPercent:    v.WorstAsLeftPercent,
		ConformityProbability: v.ConformityProbability,
		TestUncertaintyRatio:  v.TestUncertaintyRatio,
		Deficiencies:          v.Deficiencies,
		DisagreesWithStated:   v.DisagreesWith(stated),
	}
}
