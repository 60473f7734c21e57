package cli

import (
	"context"
	"slices"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/status"

	pb "jointledger/proto/jointledger/v1"
)

// sendKnown sends a record. When its id was typed without a time and is that of a
// record already, it is sent again with the time of that one: whoever types a command
// again with --id and no --at says nothing else than before, though the clock has
// moved. Anything else that differs is refused as it always is.
func sendKnown(ctx context.Context, conn *grpc.ClientConn, s sent, o *entryOptions, send func(context.Context, *grpc.ClientConn) ([]*pb.Outcome, error)) ([]*pb.Outcome, error) {
	outcomes, err := send(ctx, conn)
	if o.again == nil || !idReused(outcomes, err) {
		return outcomes, err
	}
	kinds := recordKinds()
	i := slices.IndexFunc(kinds, func(k *recordKind) bool { return k.kind == s.kind })
	if i < 0 {
		return outcomes, err
	}
	known, unread := kinds[i].get(ctx, conn, kinds[i].collection+"/"+s.id)
	if unread != nil {
		return outcomes, err // the id is that of a record of another kind
	}
	o.again.OccurTime, o.again.UtcOffsetMinutes = known.GetEntry().GetOccurTime(), known.GetEntry().GetUtcOffsetMinutes()
	o.at = occurred(o.again)
	return send(ctx, conn)
}

// idReused says whether a record was refused because its id is that of another.
func idReused(outcomes []*pb.Outcome, err error) bool {
	const reason = pb.ErrorReason_ERROR_REASON_RECORD_ID_REUSED
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok && "ERROR_REASON_"+info.GetReason() == reason.String() {
			return true
		}
	}
	return slices.ContainsFunc(outcomes, func(o *pb.Outcome) bool { return o.GetRefusal().GetReason() == reason })
}
