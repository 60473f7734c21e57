package wire

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// Replacement is the domain's name for what the API has a oneof for.
const Replacement = "replacement"

// CorrectionFrom reads a correction that a client made, without what only the server says.
func CorrectionFrom(p *Problems, m *pb.Correction) *ledger.Correction {
	kind, id := p.AnyRecord("corrects", m.GetCorrects())
	c := &ledger.Correction{
		Entry:    EntryFrom(p, "corrections", m.GetName(), m.GetEntry()),
		Corrects: id,
		Reason:   m.GetReason(),
	}
	var inside Problems
	if c.With = replacementFrom(&inside, m); c.With == nil {
		return c
	}
	c.Replacement = c.With.Head().ID
	if with := c.With.RecordKind(); kind != 0 && with != kind {
		p.Add(Replacement, "is of the kind %s, but %s is of the kind %s", Spoken(with), m.GetCorrects(), Spoken(kind))
	}
	for _, f := range inside {
		p.Add(Replacement+"."+f.Field, "%s", f.Description)
	}
	return c
}

// Spoken is the name of a kind of record in plain words, such as "lot movement".
func Spoken(kind ledger.RecordKind) string {
	return strings.ReplaceAll(ledger.RecordKinds.Name(kind), "-", " ")
}

// replacementFrom reads what holds instead; nil when nothing does.
func replacementFrom(p *Problems, m *pb.Correction) ledger.Record {
	switch r := m.GetReplacement().(type) {
	case *pb.Correction_Tightening:
		return TighteningFrom(p, r.Tightening)
	case *pb.Correction_Incident:
		return IncidentFrom(p, r.Incident)
	case *pb.Correction_Sealing:
		return SealingFrom(p, r.Sealing)
	case *pb.Correction_Inspection:
		return InspectionFrom(p, r.Inspection)
	case *pb.Correction_LotMovement:
		return LotMovementFrom(p, r.LotMovement)
	case *pb.Correction_Calibration:
		return CalibrationFrom(p, r.Calibration)
	case *pb.Correction_CustodyChange:
		return CustodyFrom(p, r.CustodyChange)
	case *pb.Correction_ToolCheck:
		return ToolCheckFrom(p, r.ToolCheck)
	}
	return nil
}

// ReplacementField is the field in which the replacement stands, such as
// `tightening`; empty when there is none.
func ReplacementField(m *pb.Correction) string {
	r := m.ProtoReflect()
	f := r.WhichOneof(r.Descriptor().Oneofs().ByName(protoreflect.Name(Replacement)))
	if f == nil {
		return ""
	}
	return string(f.Name())
}

// CorrectionTo writes a correction without the name of what it corrects, whose kind it
// does not know, and without the replacement, see PutReplacement.
func CorrectionTo(r *ledger.Correction) *pb.Correction {
	return &pb.Correction{
		Name:   ledger.RecordResource(r),
		Reason: r.Reason,
		Entry:  EntryTo(r.Entry),
	}
}

// PutReplacement puts in the replacement, or its name alone when with is nil.
func PutReplacement(m *pb.Correction, kind ledger.RecordKind, name string, with ledger.Record) error {
	switch kind {
	case ledger.KindTightening:
		m.Replacement = &pb.Correction_Tightening{Tightening: orNamed(with, TighteningTo, &pb.Tightening{Name: name})}
	case ledger.KindIncident:
		m.Replacement = &pb.Correction_Incident{Incident: orNamed(with, IncidentTo, &pb.Incident{Name: name})}
	case ledger.KindSealing:
		m.Replacement = &pb.Correction_Sealing{Sealing: orNamed(with, SealingTo, &pb.Sealing{Name: name})}
	case ledger.KindInspection:
		m.Replacement = &pb.Correction_Inspection{Inspection: orNamed(with, InspectionTo, &pb.Inspection{Name: name})}
	case ledger.KindLotMovement:
		m.Replacement = &pb.Correction_LotMovement{LotMovement: orNamed(with, LotMovementTo, &pb.LotMovement{Name: name})}
	case ledger.KindCalibration:
		m.Replacement = &pb.Correction_Calibration{Calibration: orNamed(with, CalibrationTo, &pb.Calibration{Name: name})}
	case ledger.KindCustody:
		m.Replacement = &pb.Correction_CustodyChange{CustodyChange: orNamed(with, CustodyTo, &pb.CustodyChange{Name: name})}
	case ledger.KindToolCheck:
		m.Replacement = &pb.Correction_ToolCheck{ToolCheck: orNamed(with, ToolCheckTo, &pb.ToolCheck{Name: name})}
	default:
		return fmt.Errorf("%s replaces a %s, which has no replacement", name, Spoken(kind))
	}
	return nil
}

func orNamed[T ledger.Record, M any](r ledger.Record, to func(T) M, named M) M {
	if typed, ok := r.(T); ok {
		return to(typed)
	}
	return named
}
