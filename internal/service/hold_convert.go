package service

import (
	"context"

	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/rules"
	pb "jointledger/proto/jointledger/v1"
)

// nameCause gives the name of the record on which the finding was made; its kind
// is one of those that the rule judges.
func nameCause(ctx context.Context, n *recordNames, r *ledger.Hold, m *pb.Hold) (err error) {
	if r.Cause == uuid.Nil {
		return nil
	}
	rule, _ := rules.Find(r.Rule)
	m.Cause, err = n.name(ctx, r.Cause, rule.Kinds)
	return err
}
