package service

import (
	"fmt"
	"math"
	"strings"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func (s analysisService) dueQuestionFrom(p *problems, r *pb.ListDueItemsRequest) (analysis.TrackedQuery, time.Duration) {
	q := analysis.TrackedQuery{AsOf: p.Time("as_of_time", r.AsOfTime)}
	if r.AsOfTime == nil {
		q.AsOf = ledger.Microseconds(s.now())
	}
	var within time.Duration
	if w := r.Within; w != nil {
		switch within = w.AsDuration(); {
		// AsDuration stops at the ends of its range rather than wrapping around.
		case w.CheckValid() != nil, within == math.MaxInt64:
			p.Add("within", "is not a span of time that can be reckoned with; expected at most 292 years")
		case within < 0:
			p.Add("within", "%s is below 0; what is past due is listed anyway", within)
		}
	}
	for i, name := range r.Sites {
		q.Sites = append(q.Sites, p.PlaceOf(fmt.Sprintf("sites[%d]", i), name, 1, false).Site)
	}
	for i, k := range r.Kinds {
		at := fmt.Sprintf("kinds[%d]", i)
		if k == 0 {
			p.Add(at, "is not given; expected one of %s", strings.Join(ledger.ToolKinds.All(), ", "))
		}
		q.Kinds = append(q.Kinds, wire.Known(p, at, ledger.ToolKinds, k))
	}
	for i, name := range r.Tools {
		q.Serials = append(q.Serials, p.Reference(fmt.Sprintf("tools[%d]", i), "tools", name))
	}
	return q, within
}

func dueItemTo(i analysis.DueItem) *pb.DueItem {
	_, offset := i.DueAt.Zone()
	m := &pb.DueItem{
		Tool:                wire.ResourceName("tools", i.Tool.Serial),
		Site:                wire.ResourceName("sites", i.Tool.HomeSite),
		Kind:                pb.ToolKind(i.Tool.Kind),
		DueTime:             wire.Timestamp(i.DueAt),
		UtcOffsetMinutes:    int32(offset / 60),
		Reason:              pb.DueReason(i.Reason),
		PastDue:             i.PastDue,
		Forecast:            i.Forecast,
		Detail:              i.Detail,
		LastCalibrationTime: wire.Timestamp(i.LastCalibration),
		CyclesUsed:          i.CyclesUsed,
		CyclesAllowed:       i.CyclesAllowed,
		Action:              pb.ToolAction(i.Action),
		LastDoneTime:        wire.Timestamp(i.LastDone),
		CustodySite:         wire.ResourceName("sites", i.Tool.HomeSite),
	}
	if c := i.Custody; c != nil {
		m.CustodySite, m.SinceTime = wire.ResourceName("sites", c.Site), wire.Timestamp(c.Since)
		if i.Holder != "" {
			m.Holder, m.HolderName = wire.ResourceName("people", i.Holder), c.HolderName
		}
	}
	return m
}
