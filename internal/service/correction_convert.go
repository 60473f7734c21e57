package service

import (
	"context"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"google.golang.org/protobuf/reflect/protoreflect"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// replacement is the domain's name for what the API has a oneof for.
const replacement = "replacement"

func correctionFrom(p *problems, m *pb.Correction) *ledger.Correction {
	kind, id := p.anyRecord("corrects", m.GetCorrects())
	c := &ledger.Correction{
		Entry:    entryFrom(p, "corrections", m.GetName(), m.GetEntry()),
		Corrects: id,
		Reason:   m.GetReason(),
	}
	var inside problems
	if c.With = replacementFrom(&inside, m); c.With == nil {
		return c
	}
	c.Replacement = c.With.Head().ID
	if with := c.With.RecordKind(); kind != 0 && with != kind {
		p.add(replacement, "is of the kind %s, but %s is of the kind %s", spoken(with), m.GetCorrects(), spoken(kind))
	}
	for _, f := range inside {
		p.add(replacement+"."+f.Field, "%s", f.Description)
	}
	return c
}

func spoken(kind ledger.RecordKind) string {
	return strings.ReplaceAll(ledger.RecordKinds.Name(kind), "-", " ")
}

// replacementFrom reads what holds instead; nil when nothing does.
func replacementFrom(p *problems, m *pb.Correction) ledger.Record {
	switch r := m.GetReplacement().(type) {
	case *pb.Correction_Tightening:
		return tighteningFrom(p, r.Tightening)
	case *pb.Correction_Incident:
		return incidentFrom(p, r.Incident)
	case *pb.Correction_Sealing:
		return sealingFrom(p, r.Sealing)
	case *pb.Correction_Inspection:
		return inspectionFrom(p, r.Inspection)
	case *pb.Correction_LotMovement:
		return lotMovementFrom(p, r.LotMovement)
	case *pb.Correction_Calibration:
		return calibrationFrom(p, r.Calibration)
	case *pb.Correction_CustodyChange:
		return custodyFrom(p, r.CustodyChange)
	case *pb.Correction_ToolCheck:
		return toolCheckFrom(p, r.ToolCheck)
	}
	return nil
}

// replacementField is the field in which the replacement stands, such as
// `tightening`; empty when there is none.
func replacementField(m *pb.Correction) string {
	r := m.ProtoReflect()
	f := r.WhichOneof(r.Descriptor().Oneofs().ByName(protoreflect.Name(replacement)))
	if f == nil {
		return ""
	}
	return string(f.Name())
}

// correctionTo leaves what is corrected, and the replacement, to nameCorrected.
func correctionTo(r *ledger.Correction) *pb.Correction {
	return &pb.Correction{
		Name:   ledger.RecordResource(r),
		Reason: r.Reason,
		Entry:  entryTo(r.Entry),
	}
}

// correctable are the kinds that have a replacement, the commonest first.
var correctable = []ledger.RecordKind{
	ledger.KindTightening, ledger.KindIncident, ledger.KindSealing, ledger.KindInspection, ledger.KindLotMovement,
	ledger.KindCustody, ledger.KindCalibration, ledger.KindToolCheck,
}

// nameCorrected gives the name of what is corrected, and the replacement. A
// replacement that can't be known has its name alone.
func nameCorrected(ctx context.Context, n *recordNames, c *ledger.Correction, m *pb.Correction) error {
	corrected, err := n.find(ctx, c.Corrects, correctable)
	if err != nil {
		return err
	}
	if corrected == nil {
		m.Corrects = ledger.RecordName(0, c.Corrects)
		return nil
	}
	m.Corrects = ledger.RecordResource(corrected)
	if c.Replacement == uuid.Nil {
		return nil
	}
	kind := corrected.RecordKind()
	with, err := n.find(ctx, c.Replacement, []ledger.RecordKind{kind})
	if err != nil {
		return err
	}
	return putReplacement(m, kind, ledger.RecordName(kind, c.Replacement), with)
}

// putReplacement puts in the replacement, or its name alone when with is nil.
func putReplacement(m *pb.Correction, kind ledger.RecordKind, name string, with ledger.Record) error {
	switch kind {
	case ledger.KindTightening:
		m.Replacement = &pb.Correction_Tightening{Tightening: orNamed(with, tighteningTo, &pb.Tightening{Name: name})}
	case ledger.KindIncident:
		m.Replacement = &pb.Correction_Incident{Incident: orNamed(with, incidentTo, &pb.Incident{Name: name})}
	case ledger.KindSealing:
		m.Replacement = &pb.Correction_Sealing{Sealing: orNamed(with, sealingTo, &pb.Sealing{Name: name})}
	case ledger.KindInspection:
		m.Replacement = &pb.Correction_Inspection{Inspection: orNamed(with, inspectionTo, &pb.Inspection{Name: name})}
	case ledger.KindLotMovement:
		m.Replacement = &pb.Correction_LotMovement{LotMovement: orNamed(with, lotMovementTo, &pb.LotMovement{Name: name})}
	case ledger.KindCalibration:
		m.Replacement = &pb.Correction_Calibration{Calibration: orNamed(with, calibrationTo, &pb.Calibration{Name: name})}
	case ledger.KindCustody:
		m.Replacement = &pb.Correction_CustodyChange{CustodyChange: orNamed(with, custodyTo, &pb.CustodyChange{Name: name})}
	case ledger.KindToolCheck:
		m.Replacement = &pb.Correction_ToolCheck{ToolCheck: orNamed(with, toolCheckTo, &pb.ToolCheck{Name: name})}
	default:
		return fmt.Errorf("%s replaces a %s, which has no replacement", name, spoken(kind))
	}
	return nil
}

func orNamed[T ledger.Record, M any](r ledger.Record, to func(T) M, named M) M {
	if typed, ok := r.(T); ok {
		return to(typed)
	}
	return named
}
