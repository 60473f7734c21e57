package service

import (
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func recordFindingTo(f store.RecordFinding) *pb.RecordFinding {
	return &pb.RecordFinding{
		Record:    f.Record,
		Joint:     f.Joint.Resource(),
		OccurTime: wire.Timestamp(f.OccurTime),
		Person:    wire.ResourceName("people", f.Person),
		Finding:   wire.FindingTo(f.Finding),
	}
}
