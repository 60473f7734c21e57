package cli

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) jointCommand() *cobra.Command {
	n := jointNoun()
	return group("joint", "Joints of a cell", n.add(a), a.jointList(), n.show(a), n.set(a))
}

func jointNoun() *noun[*pb.Joint] {
	return &noun[*pb.Joint]{
		word: "joint", plural: "joints", arg: "SITE/TOWER/CELL/JOINT",
		help:     "SITE/TOWER/CELL/JOINT is its place, such as RVB/CT2/C3/J014.",
		columns:  jointColumns,
		name:     placeName(4),
		fresh:    func() *pb.Joint { return &pb.Joint{} },
		fields:   jointFields,
		required: []string{"kind", "spec", "fasteners"},
		create: func(ctx context.Context, conn *grpc.ClientConn, name string, j *pb.Joint) (*pb.Joint, error) {
			return pb.NewStructureServiceClient(conn).CreateJoint(ctx, &pb.CreateJointRequest{Parent: parentOf(name), JointId: lastOf(name), Joint: j})
		},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Joint, error) {
			return pb.NewStructureServiceClient(conn).GetJoint(ctx, &pb.GetJointRequest{Name: name})
		},
		update: func(ctx context.Context, conn *grpc.ClientConn, name string, j *pb.Joint, mask *fieldmaskpb.FieldMask) (*pb.Joint, error) {
			j.Name = name
			return pb.NewStructureServiceClient(conn).UpdateJoint(ctx, &pb.UpdateJointRequest{Joint: j, UpdateMask: mask})
		},
	}
}

func jointColumns() []output.Column[*pb.Joint] {
	columns := placeColumns(4, "JOINT", (*pb.Joint).GetName)
	columns = append(columns, []output.Column[*pb.Joint]{
		{Name: "kind", Heading: "KIND", Value: func(j *pb.Joint) any { return text(wordOf(ledger.JointKinds, j.GetKind())) }},
		{Name: "critical", Heading: "CRITICAL", Value: func(j *pb.Joint) any { return j.GetCritical() }},
		{Name: "spec", Heading: "SPEC", Value: func(j *pb.Joint) any { return ledger.ShortName(j.GetSpecification()) }},
		{Name: "fasteners", Heading: "FASTENERS", Value: func(j *pb.Joint) any { return j.GetFasteners() }},
		{Name: "part_a", Heading: "PART A", Value: func(j *pb.Joint) any { return text(j.GetPartA()) }},
		{Name: "part_b", Heading: "PART B", Value: func(j *pb.Joint) any { return text(j.GetPartB()) }},
	}...)
	return append(columns, stamped[*pb.Joint]()...)
}

func jointFields(cmd *cobra.Command, j *pb.Joint) *fields {
	f := newFields(cmd)
	wordField(f, &j.Kind, ledger.JointKinds, "kind", "kind", "what it is for")
	f.boolean(&j.Critical, "critical", "critical", "its failure can hurt people or drop equipment")
	f.text(&j.PartA, "part-a", "part_a", "one joined part")
	f.text(&j.PartB, "part-b", "part_b", "the other joined part")
	f.resource(&j.Specification, "specifications", "spec", "specification", "SPEC", "code of the joint specification")
	f.whole(&j.Fasteners, "fasteners", "fasteners", "number of fasteners")
	return f
}

func (a *app) jointList() *cobra.Command {
	var limit int
	request := &pb.ListJointsRequest{}
	cmd := a.command("list [PLACE]", "List joints", "PLACE is a site, a tower or a cell. "+everyPlaceHelp)
	limitFlag(cmd, &limit)
	f := newFields(cmd)
	wordField(f, &request.Kind, ledger.JointKinds, "kind", "kind", "only joints of this kind")
	f.resource(&request.Specification, "specifications", "spec", "specification", "SPEC", "only joints under this specification")
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		parent, err := a.listPlace(args, 3)
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewStructureServiceClient(conn)
		request.Parent = parent
		return list(a, limit, "joints", jointColumns(), func(size int32, token string) ([]*pb.Joint, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListJoints(ctx, request)
			return page.GetJoints(), page.GetNextPageToken(), err
		})
	})
}
