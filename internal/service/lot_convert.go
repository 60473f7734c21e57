package service

import (
	"slices"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func lotFrom(_ *problems, m *pb.Lot) ledger.Lot {
	return ledger.Lot{
		Supplier:    m.GetSupplier(),
		Heat:        m.GetHeat(),
		Fastener:    fastenerFrom(m.GetFastener()),
		Description: m.GetDescription(),
		State:       or(word[ledger.LotState](m.GetState()), ledger.LotReleased),
	}
}

func lotTo(l ledger.Lot) *pb.Lot {
	return &pb.Lot{
		Name:        resourceName("lots", l.Number),
		Supplier:    l.Supplier,
		Heat:        l.Heat,
		Fastener:    fastenerTo(l.Fastener),
		Description: l.Description,
		State:       pb.LotState(l.State),
		Etag:        etagOf(l.Version),
		CreateTime:  timestamp(l.CreateTime),
		UpdateTime:  timestamp(l.UpdateTime),
	}
}

func lotStocksTo(stocks []ledger.LotStock) []*pb.LotStock {
	var out []*pb.LotStock
	for _, st := range stocks {
		out = append(out, &pb.LotStock{
			Site: resourceName("sites", st.Site), Received: st.Received, Removed: st.Removed, Used: st.Used, OnHand: st.OnHand,
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

func lotName(p *problems, field, name string) string { return p.required(field, "lots", name) }
