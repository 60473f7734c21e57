package service

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// asOfTime is the moment that a question is asked from; now when not given.
func asOfTime(p *problems, s *Services, t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return ledger.Microseconds(s.now())
	}
	return p.time("as_of_time", t)
}

func whereaboutsTo(w analysis.Whereabouts) *pb.ToolWhereabouts {
	m := &pb.ToolWhereabouts{
		Tool: resourceName("tools", w.Tool.Serial), Kind: pb.ToolKind(w.Tool.Kind), HomeSite: resourceName("sites", w.Tool.HomeSite),
		Station: pb.ToolStation(w.Station), Site: resourceName("sites", w.Site), Holder: resourceName("people", w.Holder), HolderName: w.HolderName,
		SinceTime: timestamp(w.Since), LastChange: pb.CustodyKind(w.LastChange), Refusals: refusalsTo(w.Refusals),
	}
	if d := w.NextDue; d != nil {
		_, offset := d.DueAt.Zone()
		m.NextDueTime, m.NextDueUtcOffsetMinutes, m.NextDueAction = timestamp(d.DueAt), int32(offset/60), pb.ToolAction(d.Action)
	}
	return m
}

func cribPageTo(page analysis.CribPage, in analysis.CribInput) *pb.CribPage {
	m := &pb.CribPage{
		Site: resourceName("sites", page.Site), Day: page.Day, AsOfTime: timestamp(in.AsOf),
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
			Tool: resourceName("tools", t.Tool.Serial), Kind: pb.ToolKind(t.Tool.Kind), Holder: resourceName("people", t.Holder), HolderName: t.HolderName,
			SinceTime: timestamp(t.Since), NextDueTime: timestamp(t.NextDue), Note: t.Note,
			MinimumNewtonMetres: t.Tool.MinimumNewtonMetres, MaximumNewtonMetres: t.Tool.MaximumNewtonMetres, RatedLoadKilograms: t.Tool.RatedLoadKilograms,
		})
	}
	return list
}
