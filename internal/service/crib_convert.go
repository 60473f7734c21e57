package service

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

// asOfTime is the moment that a question is asked from; now when not given.
func asOfTime(p *problems, s *Services, t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return ledger.Microseconds(s.now())
	}
	return p.Time("as_of_time", t)
}

func whereaboutsTo(w analysis.Whereabouts) *pb.ToolWhereabouts {
	m := &pb.ToolWhereabouts{
		Tool: wire.ResourceName("tools", w.Tool.Serial), Kind: pb.ToolKind(w.Tool.Kind), HomeSite: wire.ResourceName("sites", w.Tool.HomeSite),
		Station: pb.ToolStation(w.Station), Site: wire.ResourceName("sites", w.Site), Holder: wire.ResourceName("people", w.Holder), HolderName: w.HolderName,
		SinceTime: wire.Timestamp(w.Since), LastChange: pb.CustodyKind(w.LastChange), Refusals: refusalsTo(w.Refusals),
	}
	if d := w.NextDue; d != nil {
		_, offset := d.DueAt.Zone()
		m.NextDueTime, m.NextDueUtcOffsetMinutes, m.NextDueAction = wire.Timestamp(d.DueAt), int32(offset/60), pb.ToolAction(d.Action)
	}
	return m
}

func cribPageTo(page analysis.CribPage, in analysis.CribInput) *pb.CribPage {
	m := &pb.CribPage{
		Site: wire.ResourceName("sites", page.Site), Day: page.Day, AsOfTime: wire.Timestamp(in.AsOf),
		ToLend: cribToolsTo(page.ToLend), NotToLend: refusalsTo(page.NotToLend), Out: cribToolsTo(page.Out), BackToday: cribToolsTo(page.BackToday),
		Away: refusalsTo(page.Away), OnHold: cribToolsTo(page.OnHold), Cautions: page.Cautions, BeforeUse: toolNames(page.BeforeUse),
	}
	for _, g := range page.Gaps {
		m.Gaps = append(m.Gaps, coverageGapTo(g))
	}
	bySerial := map[string]analysis.TrackedTool{}
	for _, t := range in.Tools {
		bySerial[t.Due.Tool.Serial] = t
	}
	for _, item := range page.Due {
		for _, due := range bySerial[item.Tool.Serial].DueItems([]analysis.PolicyItem{item}) {
			m.Due = append(m.Due, dueItemTo(due))
		}
	}
	return m
}

func cribToolsTo(tools []analysis.CribTool) []*pb.CribTool {
	var list []*pb.CribTool
	for _, t := range tools {
		list = append(list, &pb.CribTool{
			Tool: wire.ResourceName("tools", t.Tool.Serial), Kind: pb.ToolKind(t.Tool.Kind), Holder: wire.ResourceName("people", t.Holder), HolderName: t.HolderName,
			SinceTime: wire.Timestamp(t.Since), NextDueTime: wire.Timestamp(t.NextDue), Note: t.Note,
			MinimumNewtonMetres: t.Tool.MinimumNewtonMetres, MaximumNewtonMetres: t.Tool.MaximumNewtonMetres, RatedLoadKilograms: t.Tool.RatedLoadKilograms,
		})
	}
	return list
}
