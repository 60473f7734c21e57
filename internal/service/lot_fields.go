package service

import (
	"slices"

	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func lotStocksTo(stocks []ledger.LotStock) []*pb.LotStock {
	var out []*pb.LotStock
	for _, st := range stocks {
		out = append(out, &pb.LotStock{
			Site: wire.ResourceName("sites", st.Site), Received: st.Received, Removed: st.Removed, Used: st.Used, OnHand: st.OnHand,
		})
	}
	return out
}

var lotFields = slices.Concat(
	[]field[ledger.Lot]{
		{"supplier", func(dst, src *ledger.Lot) { dst.Supplier = src.Supplier }},
		{"heat", func(dst, src *ledger.Lot) { dst.Heat = src.Heat }},
	},
	fastenerFields(func(l *ledger.Lot) *ledger.Fastener { return &l.Fastener }),
	[]field[ledger.Lot]{
		{"description", func(dst, src *ledger.Lot) { dst.Description = src.Description }},
		{"state", func(dst, src *ledger.Lot) { dst.State = src.State }},
	},
)
