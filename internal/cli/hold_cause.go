package cli

import (
	"context"
	"strings"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// holdCauses looks up whether the records that caused holds were corrected since. It
// asks once for each record, and no more after an error.
type holdCauses struct {
	ctx   context.Context
	conn  *grpc.ClientConn
	kinds []*recordKind
	// known gives the id of the correction by record; empty for none.
	known map[string]string
	// err is what a look-up ended with.
	err error
}

func newHoldCauses(ctx context.Context, conn *grpc.ClientConn) *holdCauses {
	return &holdCauses{ctx: ctx, conn: conn, kinds: recordKinds(), known: map[string]string{}}
}

// correctedBy is the id of the correction of the record that caused an open hold;
// empty when it holds as it was made, and for a hold that no record caused.
func (c *holdCauses) correctedBy(h *pb.Hold) string {
	cause := h.GetCause()
	if c == nil || cause == "" || c.err != nil || !holdOpen(h) {
		return ""
	}
	if id, asked := c.known[cause]; asked {
		return id
	}
	collection, _, _ := strings.Cut(cause, "/")
	for _, k := range c.kinds {
		if k.collection != collection {
			continue
		}
		r, err := k.get(c.ctx, c.conn, cause)
		switch {
		case err == nil:
			c.known[cause] = ledger.ShortName(r.GetEntry().GetCorrectedBy())
		case status.Code(err) == codes.NotFound:
			c.known[cause] = ""
		default:
			c.err = err
		}
	}
	return c.known[cause]
}

// column tells of each hold by what its cause was corrected.
func (c *holdCauses) column() output.Column[*pb.Hold] {
	return output.Column[*pb.Hold]{Name: "cause_corrected_by", Value: func(h *pb.Hold) any { return text(c.correctedBy(h)) }}
}
