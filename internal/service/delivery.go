package service

import (
	"context"
	"errors"
	"io"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/access"
	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

type deliveryStream = grpc.BidiStreamingServer[pb.DeliverRecordsRequest, pb.DeliverRecordsResponse]

// DeliverRecords keeps batches of records of any kind and answers for each in order.
func (s deliveryService) DeliverRecords(stream deliveryStream) error {
	ctx := stream.Context()
	batches := make(chan receivedBatch)
	go receiveBatches(stream, batches)
	for {
		var next receivedBatch
		// A shut-down waits for the batch that is being kept, not for one to come.
		select {
		case <-s.ending:
			return errDeliveryEnds()
		case <-ctx.Done():
			return ctx.Err()
		case next = <-batches:
		}
		switch {
		case errors.Is(next.err, io.EOF):
			return nil
		case next.err != nil:
			return next.err
		}
		if err := rpc.CheckRequestSize(next.batch); err != nil {
			return err
		}
		outcomes, err := s.deliver(ctx, next.batch.GetRecords())
		if err != nil {
			return err
		}
		if err := stream.Send(&pb.DeliverRecordsResponse{Outcomes: outcomes, ServerTime: timestamppb.New(s.now())}); err != nil {
			return err
		}
	}
}

type receivedBatch struct {
	batch *pb.DeliverRecordsRequest
	err   error
}

// receiveBatches hands on what comes, until the stream ends: that it does when its
// method returns, at the latest.
func receiveBatches(stream deliveryStream, batches chan<- receivedBatch) {
	for {
		m, err := stream.Recv()
		select {
		case batches <- receivedBatch{m, err}:
		case <-stream.Context().Done():
			return
		}
		if err != nil {
			return
		}
	}
}

// deliver keeps one batch: every record as its kind's own method would, and all in
// one go, so that one may name another that comes before it.
func (s deliveryService) deliver(ctx context.Context, records []*pb.DeliveredRecord) ([]*pb.Outcome, error) {
	if err := checkBatch("records", len(records)); err != nil {
		return nil, err
	}
	members := make([]member[ledger.Record], len(records))
	for i, r := range records {
		members[i] = deliveredMember(ctx, r)
	}
	corrects := func(i int) string { return records[i].GetCorrection().GetCorrects() }
	if err := judgeWithdrawals(ctx, s.Services, corrects, members); err != nil {
		return nil, err
	}
	outcomes, err := keepBatch(ctx, members, func(good []ledger.Record) ([]store.Outcome, error) {
		return s.store.Record(ctx, good, store.Change{Caller: callerOf(ctx)})
	})
	if err != nil {
		return nil, err
	}
	for i, r := range records {
		if c := r.GetCorrection(); c != nil {
			nameReplacement(outcomes[i].GetRefusal(), wire.ReplacementField(c))
		}
	}
	return outcomes, nil
}

// deliveredMember reads a record of any kind, with the permission that its kind
// takes.
func deliveredMember(ctx context.Context, r *pb.DeliveredRecord) member[ledger.Record] {
	switch r := r.GetRecord().(type) {
	case *pb.DeliveredRecord_Tightening:
		return tightenings.allowed(ctx, r.Tightening)
	case *pb.DeliveredRecord_Incident:
		return incidents.allowed(ctx, r.Incident)
	case *pb.DeliveredRecord_Sealing:
		return sealings.allowed(ctx, r.Sealing)
	case *pb.DeliveredRecord_Inspection:
		return inspections.allowed(ctx, r.Inspection)
	case *pb.DeliveredRecord_Calibration:
		return calibrations.allowed(ctx, r.Calibration)
	case *pb.DeliveredRecord_LotMovement:
		return lotMovements.allowed(ctx, r.LotMovement)
	case *pb.DeliveredRecord_CustodyChange:
		return custodyChanges.allowed(ctx, r.CustodyChange)
	case *pb.DeliveredRecord_Hold:
		return holds.allowed(ctx, r.Hold)
	case *pb.DeliveredRecord_Disposition:
		return dispositions.allowed(ctx, r.Disposition)
	case *pb.DeliveredRecord_SignOff:
		return signOffs.allowed(ctx, r.SignOff)
	case *pb.DeliveredRecord_Correction:
		return corrections.allowed(ctx, r.Correction)
	case *pb.DeliveredRecord_ToolCheck:
		return toolChecks.allowed(ctx, r.ToolCheck)
	}
	return member[ledger.Record]{err: ledger.InvalidField("record", "record", "is required; expected a record of a kind that this server knows")}
}

// allowed reads a member of a batch of several kinds; it is refused alone when its
// kind takes a permission that the caller has not.
func (k record[T, M]) allowed(ctx context.Context, m M) member[ledger.Record] {
	read := k.read(m)
	if read.err == nil {
		read.err = access.Allow(ctx, actionOf(read.item))
	}
	return read
}

func errDeliveryEnds() error {
	return &ledger.Error{Kind: ledger.KindUnavailable, Reason: ledger.ReasonStoreUnavailable,
		Message: "the server is shutting down; deliver what was not answered when it is back"}
}
