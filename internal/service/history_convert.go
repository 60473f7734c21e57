package service

import (
	"context"
	"fmt"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// historyTo writes what is on record about a joint. The names see every record
// before the first is written: one may name what stands after it.
func historyTo(ctx context.Context, names *recordNames, items []store.HistoryItem) ([]*pb.HistoryItem, error) {
	for _, i := range items {
		names.see(i.Record)
	}
	var out []*pb.HistoryItem
	for _, i := range items {
		m := &pb.HistoryItem{Findings: wire.FindingsTo(i.Findings)}
		if err := putRecord(ctx, names, m, i.Record); err != nil {
			return nil, err
		}
		for _, a := range i.Attachments {
			m.Attachments = append(m.Attachments, attachmentTo(a))
		}
		out = append(out, m)
	}
	return out, nil
}

func putRecord(ctx context.Context, names *recordNames, m *pb.HistoryItem, r ledger.Record) error {
	switch r := r.(type) {
	case *ledger.Tightening:
		m.Record = &pb.HistoryItem_Tightening{Tightening: wire.TighteningTo(r)}
	case *ledger.Incident:
		m.Record = &pb.HistoryItem_Incident{Incident: wire.IncidentTo(r)}
	case *ledger.Sealing:
		m.Record = &pb.HistoryItem_Sealing{Sealing: wire.SealingTo(r)}
	case *ledger.Inspection:
		m.Record = &pb.HistoryItem_Inspection{Inspection: wire.InspectionTo(r)}
	case *ledger.Hold:
		hold, err := holds.message(ctx, names, r)
		m.Record = &pb.HistoryItem_Hold{Hold: hold}
		return err
	case *ledger.Disposition:
		m.Record = &pb.HistoryItem_Disposition{Disposition: wire.DispositionTo(r)}
	case *ledger.SignOff:
		m.Record = &pb.HistoryItem_SignOff{SignOff: wire.SignOffTo(r)}
	case *ledger.Correction:
		correction, err := corrections.message(ctx, names, r)
		m.Record = &pb.HistoryItem_Correction{Correction: correction}
		return err
	default:
		return fmt.Errorf("store gave a %T in the history of a joint", r)
	}
	return nil
}
