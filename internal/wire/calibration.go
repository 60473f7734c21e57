package wire

import (
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// CalibrationFrom reads a calibration that a client made, without what only the server says.
func CalibrationFrom(p *Problems, m *pb.Calibration) *ledger.Calibration {
	r := &ledger.Calibration{
		Entry:                    EntryFrom(p, "calibrations", m.GetName(), m.GetEntry()),
		Tool:                     p.Reference("tool", "tools", m.GetTool()),
		Laboratory:               m.GetLaboratory(),
		Certificate:              m.GetCertificate(),
		Document:                 Word[ledger.CalibrationDocument](m.GetDocument()),
		Rule:                     Word[ledger.DecisionRule](m.GetDecisionRule()),
		StatedVerdict:            Word[ledger.Verdict](m.GetStatedVerdict()),
		DeviceUncertaintyPercent: m.GetDeviceUncertaintyPercent(),
	}
	if m != nil {
		r.AirCelsius, r.HumidityPercent = m.AirCelsius, m.HumidityPercent
	}
	for _, point := range m.GetPoints() {
		r.Points = append(r.Points, ledger.CalibrationPoint{
			Phase:                           Word[ledger.CalibrationPhase](point.GetPhase()),
			TargetNewtonMetres:              point.GetTargetNewtonMetres(),
			ReadingsNewtonMetres:            point.GetReadingsNewtonMetres(),
			ExpandedUncertaintyNewtonMetres: point.GetExpandedUncertaintyNewtonMetres(),
			CoverageFactor:                  point.GetCoverageFactor(),
		})
	}
	return r
}

// CalibrationTo writes a calibration.
func CalibrationTo(r *ledger.Calibration) *pb.Calibration {
	m := &pb.Calibration{
		Name:                     ledger.RecordResource(r),
		Tool:                     ResourceName("tools", r.Tool),
		Laboratory:               r.Laboratory,
		Certificate:              r.Certificate,
		Entry:                    EntryTo(r.Entry),
		Site:                     ResourceName("sites", r.Site),
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

// verdictFrom reads the kept verdict; whether it disagrees with the laboratory's
// follows from both.
func verdictFrom(m *pb.CalibrationVerdict) *ledger.CalibrationVerdict {
	if m == nil {
		return nil
	}
	return &ledger.CalibrationVerdict{
		Rule:                  Word[ledger.DecisionRule](m.GetDecisionRule()),
		Edition:               m.GetEdition(),
		LimitPercent:          m.GetLimitPercent(),
		AsFound:               Word[ledger.Verdict](m.GetAsFound()),
		AsLeft:                Word[ledger.Verdict](m.GetAsLeft()),
		WorstAsFoundPercent:   Copied(m.WorstAsFoundPercent),
		WorstAsLeftPercent:    Copied(m.WorstAsLeftPercent),
		ConformityProbability: Copied(m.ConformityProbability),
		TestUncertaintyRatio:  Copied(m.TestUncertaintyRatio),
		Deficiencies:          m.GetDeficiencies(),
	}
}
