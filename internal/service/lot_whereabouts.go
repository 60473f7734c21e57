package service

import (
	"context"

	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// FindLot reads everywhere a lot went.
func (s progressService) FindLot(ctx context.Context, r *pb.FindLotRequest) (*pb.FindLotResponse, error) {
	var p problems
	lot := wire.LotName(&p, "lot", r.Lot)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	found, err := s.store.FindLot(ctx, lot)
	if err != nil {
		return nil, err
	}
	resp := &pb.FindLotResponse{Lot: wire.LotTo(found.Lot), Stocks: lotStocksTo(found.Stocks)}
	for _, j := range found.Joints {
		resp.Joints = append(resp.Joints, &pb.LotUse{Joint: j.Joint.Resource(), Fasteners: j.Fasteners, Failures: j.Failures})
	}
	for _, i := range found.Incidents {
		resp.Incidents = append(resp.Incidents, wire.IncidentTo(i))
	}
	names := namesFrom(s.store)
	if resp.OpenHolds, err = holds.messages(ctx, names, found.OpenHolds); err != nil {
		return nil, err
	}
	resp.Alarms, err = alarms.messages(ctx, names, found.Alarms)
	return resp, err
}
