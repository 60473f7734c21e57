package service

import (
	"fmt"
	"math"
	"strings"
	"time"

	"jointledger/internal/analysis"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (s analysisService) dueQuestionFrom(p *problems, r *pb.ListDueItemsRequest) (analysis.TrackedQuery, time.Duration) {
	q := analysis.TrackedQuery{AsOf: p.time("as_of_time", r.AsOfTime)}
	if r.AsOfTime == nil {
		q.AsOf = ledger.Microseconds(s.now())
	}
	var within time.Duration
	if w := r.Within; w != nil {
		switch within = w.AsDuration(); {
		// AsDuration stops at the ends of its range rather than wrapping around.
		case w.CheckValid() != nil, within == math.MaxInt64:
			p.add("within", "is not a span of time that can be reckoned with; expected at most 292 years")
		case within < 0:
			p.add("within", "%s is below 0; what is past due is listed anyway", within)
		}
	}
	for i, name := range r.Sites {
		q.Sites = append(q.Sites, p.placeOf(fmt.Sprintf("sites[%d]", i), name, 1, false).Site)
	}
	for i, k := range r.Kinds {
		at := fmt.Sprintf("kinds[%d]", i)
		if k == 0 {
			p.add(at, "is not given; expected one of %s", strings.Join(ledger.ToolKinds.All(), ", "))
		}
		q.Kinds = append(q.Kinds, known(p, at, ledger.ToolKinds, k))
	}
	return q, within
}

func dueItemTo(i analysis.DueItem) *pb.DueItem {
	_, offset := i.DueAt.Zone()
	m := &pb.DueItem{
		Tool:                resourceName("tools", i.Tool.Serial),
		Site:                resourceName("sites", i.Tool.HomeSite),
		Kind:                pb.ToolKind(i.Tool.Kind),
		DueTime:             timestamp(i.DueAt),
		UtcOffsetMinutes:    int32(offset / 60),
		Reason:              pb.DueReason(i.Reason),
		PastDue:             i.PastDue,
		Forecast:            i.Forecast,
		Detail:              i.Detail,
		LastCalibrationTime: timestamp(i.LastCalibration),
		CyclesUsed:          i.CyclesUsed,
		CyclesAllowed:       i.CyclesAllowed,
		Action:              pb.ToolAction(i.Action),
		LastDoneTime:        timestamp(i.LastDone),
		CustodySite:         resourceName("sites", i.Tool.HomeSite),
	}
	if c := i.Custody; c != nil {
		m.CustodySite, m.SinceTime = resourceName("sites", c.Site), timestamp(c.Since)
		if i.Holder != "" {
			m.Holder, m.HolderName = resourceName("people", i.Holder), c.HolderName
		}
	}
	return m
}
