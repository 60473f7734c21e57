package service

import (
	"context"

	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func handoverHeadTo(h store.HandoverHead) *pb.HandoverHead {
	m := &pb.HandoverHead{
		Place:         h.Place.Resource(),
		Site:          wire.SiteTo(h.Site),
		ReadTime:      wire.Timestamp(h.ReadTime),
		Joints:        h.Joints,
		Complete:      len(h.Missing) == 0,
		ChainSequence: h.Sequence,
		ChainLink:     h.Link[:],
	}
	for _, missing := range h.Missing {
		m.Missing = append(m.Missing, &pb.Missing{Place: missing.Place.Resource(), Sentence: missing.Sentence})
	}
	for _, t := range h.Tools {
		tool := &pb.HandoverTool{Tool: wire.ToolTo(t.Tool)}
		for _, c := range t.Calibrations {
			tool.Calibrations = append(tool.Calibrations, wire.CalibrationTo(c))
		}
		m.Tools = append(m.Tools, tool)
	}
	for _, l := range h.Lots {
		m.Lots = append(m.Lots, wire.LotTo(l))
	}
	for _, s := range h.Specifications {
		m.Specifications = append(m.Specifications, wire.RevisionTo(s))
	}
	for _, person := range h.People {
		m.People = append(m.People, wire.ResourceName("people", person))
	}
	return m
}

// handoverJointTo writes one joint: its records first, since they are what the
// holds in its status may name.
func handoverJointTo(ctx context.Context, names *recordNames, j store.HandoverJoint) (*pb.HandoverJoint, error) {
	items, err := historyTo(ctx, names, j.Items)
	if err != nil {
		return nil, err
	}
	status, err := jointStatusTo(ctx, names, j.Status)
	if err != nil {
		return nil, err
	}
	return &pb.HandoverJoint{Status: status, Items: items}, nil
}
