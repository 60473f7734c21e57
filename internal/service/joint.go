package service

import (
	"context"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

var joints = thing[ledger.Joint, ledger.Place, *pb.Joint, *pb.CreateJointRequest]{
	what:    "joint",
	message: (*pb.CreateJointRequest).GetJoint,
	from:    wire.JointFrom,
	to:      wire.JointTo,
	identify: func(p *problems, r *pb.CreateJointRequest, j *ledger.Joint) {
		if j.Place = p.PlaceOf("parent", r.Parent, 3, false); j.Place.Depth() == 3 {
			j.Place.Joint = tag(r.JointId)
		}
	},
	parse:    wire.JointName,
	key:      func(j ledger.Joint) ledger.Place { return j.Place },
	resource: func(j ledger.Joint) string { return j.Place.Resource() },
	validate: ledger.Joint.Validate,
	fields:   jointFields,
	register: (*store.Store).RegisterJoints,
	get:      (*store.Store).Joint,
	update:   (*store.Store).UpdateJoint,
}

// CreateJoint registers a joint.
func (s structureService) CreateJoint(ctx context.Context, r *pb.CreateJointRequest) (*pb.Joint, error) {
	return joints.create(ctx, s.Services, r)
}

// BatchCreateJoints registers many and answers for each.
func (s structureService) BatchCreateJoints(ctx context.Context, r *pb.BatchCreateJointsRequest) (*pb.BatchCreateJointsResponse, error) {
	outcomes, err := joints.createBatch(ctx, s.Services, r.Requests, r.ValidateOnly)
	return &pb.BatchCreateJointsResponse{Outcomes: outcomes}, err
}

// GetJoint reads one joint.
func (s structureService) GetJoint(ctx context.Context, r *pb.GetJointRequest) (*pb.Joint, error) {
	return joints.fetch(ctx, s.Services, r.Name)
}

// ListJoints pages through the joints of its parent.
func (s structureService) ListJoints(ctx context.Context, r *pb.ListJointsRequest) (*pb.ListJointsResponse, error) {
	var p problems
	filter := store.JointFilter{
		Within:        p.PlaceOf("parent", r.Parent, 3, true),
		Kind:          wire.Known(&p, "kind", ledger.JointKinds, r.Kind),
		Specification: p.Reference("specification", "specifications", r.Specification),
	}
	items, next, err := listPage(r, p, func(page store.Page) ([]ledger.Joint, string, error) {
		return s.store.Joints(ctx, filter, page)
	}, wire.JointTo)
	return &pb.ListJointsResponse{Joints: items, NextPageToken: next}, err
}

// UpdateJoint changes the fields in the mask.
func (s structureService) UpdateJoint(ctx context.Context, r *pb.UpdateJointRequest) (*pb.Joint, error) {
	return joints.change(ctx, s.Services, r, r.Joint)
}
