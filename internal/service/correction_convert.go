package service

import (
	"context"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

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
	return wire.PutReplacement(m, kind, ledger.RecordName(kind, c.Replacement), with)
}
