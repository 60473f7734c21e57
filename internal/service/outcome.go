package service

import (
	"context"
	"fmt"
	"strings"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// maxBatch is the most members that a batch may have.
const maxBatch = 1000

// checkBatch refuses a batch that is empty or too large. members is the name of
// its field.
func checkBatch(members string, n int) error {
	switch {
	case n == 0:
		return ledger.InvalidField("batch", members, "is empty; expected 1 to %d members", maxBatch)
	case n > maxBatch:
		return ledger.InvalidField("batch", members, "has %d members; expected 1 to %d", n, maxBatch)
	}
	return nil
}

// member is one member of a batch, read into the domain.
type member[T any] struct {
	item T
	// name is its resource name as far as the request gave one.
	name string
	// err refuses it before it is shown to the store.
	err error
}

// keepBatch hands the good members to keep, all at once, and answers for each in
// the order of the batch.
func keepBatch[T any](ctx context.Context, members []member[T], keep func([]T) ([]store.Outcome, error)) ([]*pb.Outcome, error) {
	var good []T
	for _, m := range members {
		if m.err == nil {
			good = append(good, m.item)
		}
	}
	var kept []store.Outcome
	if len(good) > 0 {
		var err error
		if kept, err = keep(good); err != nil {
			return nil, err
		}
		if len(kept) != len(good) {
			return nil, fmt.Errorf("store answered for %d members of %d", len(kept), len(good))
		}
	}
	out := make([]*pb.Outcome, len(members))
	for i, m := range members {
		o := store.Outcome{State: store.Refused, Err: ledger.AsError(m.err)}
		if m.err == nil {
			o, kept = kept[0], kept[1:]
		}
		if e := o.Err; e != nil && e.Kind == ledger.KindDenied && strings.HasPrefix(e.Resource, "people/") {
			access.Refused(ctx, e.Message) // the store judges the people that records name
		}
		out[i] = &pb.Outcome{Name: m.name, State: outcomeStates[o.State], Refusal: refusal(o.Err), Findings: wire.FindingsTo(o.Findings)}
	}
	return out, nil
}

var outcomeStates = map[store.OutcomeState]pb.Outcome_State{
	store.Taken:        pb.Outcome_STATE_TAKEN,
	store.AlreadyKnown: pb.Outcome_STATE_ALREADY_KNOWN,
	store.Refused:      pb.Outcome_STATE_REFUSED,
}

func refusal(e *ledger.Error) *pb.Refusal {
	if e == nil {
		return nil
	}
	r := &pb.Refusal{Reason: pb.ErrorReason(e.Reason), Message: e.Message, ResourceName: e.Resource}
	for _, f := range e.Fields {
		r.FieldViolations = append(r.FieldViolations, &pb.FieldViolation{Field: f.Field, Description: f.Description})
	}
	return r
}
