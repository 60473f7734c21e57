package service

import (
	"jointledger/internal/rules"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

func findingTo(f rules.Finding) *pb.Finding {
	return &pb.Finding{
		Rule:     f.Rule,
		Severity: pb.Severity(f.Severity),
		Message:  f.Message,
		Figure:   copied(f.Figure),
		Limit:    copied(f.Limit),
		Unit:     f.Unit,
		Source:   f.Source,
	}
}

func findingsTo(found []rules.Finding) []*pb.Finding {
	var out []*pb.Finding
	for _, f := range found {
		out = append(out, findingTo(f))
	}
	return out
}

func recordFindingTo(f store.RecordFinding) *pb.RecordFinding {
	return &pb.RecordFinding{
		Record:    f.Record,
		Joint:     f.Joint.Resource(),
		OccurTime: timestamp(f.OccurTime),
		Person:    resourceName("people", f.Person),
		Finding:   findingTo(f.Finding),
	}
}
