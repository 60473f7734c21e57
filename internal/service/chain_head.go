package service

import (
	"context"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// ListChainHeads reads the ends of the chains of sites.
func (s progressService) ListChainHeads(ctx context.Context, r *pb.ListChainHeadsRequest) (*pb.ListChainHeadsResponse, error) {
	var p problems
	sites := siteCodes(&p, r.Sites)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	heads, err := s.store.ChainHeads(ctx, sites)
	if err != nil {
		return nil, err
	}
	resp := &pb.ListChainHeadsResponse{}
	for _, h := range heads {
		resp.Heads = append(resp.Heads, &pb.ChainHead{Site: ledger.Place{Site: h.Site}.Resource(), Sequence: h.Sequence, Link: h.Link[:]})
	}
	return resp, nil
}
