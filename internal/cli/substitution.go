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

func (a *app) substitutionCommand() *cobra.Command {
	n := substitutionNoun()
	return group("substitution", "Substitutions: fasteners permitted instead of the specified ones",
		n.add(a), a.substitutionList(), n.show(a), n.set(a))
}

func substitutionNoun() *noun[*pb.Substitution] {
	return &noun[*pb.Substitution]{
		word: "substitution", plural: "substitutions", arg: "CODE",
		help:     "CODE: letters, digits, dots, underscores and hyphens.\n" + caution,
		columns:  substitutionColumns,
		name:     collectionName("substitutions"),
		fresh:    func() *pb.Substitution { return &pb.Substitution{Permitted: &pb.Fastener{}} },
		fields:   substitutionFields,
		required: []string{"spec", "thread", "material", "approved-by"},
		notes:    []output.Note{torqueCaution()},
		create: func(ctx context.Context, conn *grpc.ClientConn, name string, s *pb.Substitution) (*pb.Substitution, error) {
			return pb.NewConsumableServiceClient(conn).CreateSubstitution(ctx, &pb.CreateSubstitutionRequest{SubstitutionId: lastOf(name), Substitution: s})
		},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Substitution, error) {
			return pb.NewConsumableServiceClient(conn).GetSubstitution(ctx, &pb.GetSubstitutionRequest{Name: name})
		},
		update: func(ctx context.Context, conn *grpc.ClientConn, name string, s *pb.Substitution, mask *fieldmaskpb.FieldMask) (*pb.Substitution, error) {
			s.Name = name
			return pb.NewConsumableServiceClient(conn).UpdateSubstitution(ctx, &pb.UpdateSubstitutionRequest{Substitution: s, UpdateMask: mask})
		},
	}
}

func substitutionColumns() []output.Column[*pb.Substitution] {
	type substitution = *pb.Substitution
	columns := []output.Column[substitution]{
		{Name: "substitution", Heading: "CODE", Value: func(s substitution) any { return ledger.ShortName(s.GetName()) }},
		{Name: "spec", Heading: "SPEC", Value: func(s substitution) any { return ledger.ShortName(s.GetSpecification()) }},
	}
	columns = append(columns, fastenerColumns(substitution.GetPermitted)...)
	columns = append(columns, []output.Column[substitution]{
		{Name: "torque_n_m", Heading: "N.m", Value: func(s substitution) any { return figure(s.GetTorqueNewtonMetres()) }},
		{Name: "needs", Heading: "NEEDS", Value: func(s substitution) any { return text(s.GetNeeds()) }},
		{Name: "approved_by", Heading: "APPROVED BY", Value: func(s substitution) any { return text(s.GetApprovedBy()) }},
	}...)
	return append(columns, stamped[substitution]()...)
}

func substitutionFields(cmd *cobra.Command, s *pb.Substitution) *fields {
	f := newFields(cmd)
	f.resource(&s.Specification, "specifications", "spec", "specification", "SPEC", "specification whose fastener may be replaced")
	f.fastener(s.Permitted, "permitted")
	f.text(&s.Needs, "needs", "needs", "what else is needed, such as washers")
	f.torque(&s.TorqueNewtonMetres, "torque", "torque_newton_metres", "torque instead of the specification's")
	f.text(&s.ApprovedBy, "approved-by", "approved_by", "who approved it")
	return f
}

func (a *app) substitutionList() *cobra.Command {
	var limit int
	request := &pb.ListSubstitutionsRequest{}
	cmd := a.command("list", "List substitutions", caution)
	limitFlag(cmd, &limit)
	newFields(cmd).resource(&request.Specification, "specifications", "spec", "specification", "SPEC", "only for this specification")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewConsumableServiceClient(conn)
		return list(a, limit, "substitutions", substitutionColumns(), func(size int32, token string) ([]*pb.Substitution, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListSubstitutions(ctx, request)
			return page.GetSubstitutions(), page.GetNextPageToken(), err
		}, torqueCaution())
	})
}
