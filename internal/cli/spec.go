package cli

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/fieldmaskpb"

	"jointledger/internal/cli/output"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

func (a *app) specCommand() *cobra.Command {
	n := specNoun()
	return group("spec", "Joint specifications: fastener, treatment, torque, sealing",
		n.add(a), a.specList(), n.show(a), n.set(a), a.specRevisions())
}

func specNoun() *noun[*pb.Specification] {
	return &noun[*pb.Specification]{
		word: "specification", plural: "specs", arg: "SPEC",
		help:     "SPEC is its code: letters, digits, dots, underscores and hyphens.\n" + caution,
		columns:  specColumns,
		name:     collectionName("specifications"),
		fresh:    func() *pb.Specification { return &pb.Specification{Fastener: &pb.Fastener{}} },
		fields:   specFields,
		required: []string{"thread", "material", "treatment", "locking", "torque", "torque-tolerance-pct", "torque-basis"},
		notes:    []output.Note{torqueCaution()},
		create: func(ctx context.Context, conn *grpc.ClientConn, name string, s *pb.Specification) (*pb.Specification, error) {
			return pb.NewSpecificationServiceClient(conn).CreateSpecification(ctx, &pb.CreateSpecificationRequest{SpecificationId: lastOf(name), Specification: s})
		},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Specification, error) {
			return pb.NewSpecificationServiceClient(conn).GetSpecification(ctx, &pb.GetSpecificationRequest{Name: name})
		},
		update: func(ctx context.Context, conn *grpc.ClientConn, name string, s *pb.Specification, mask *fieldmaskpb.FieldMask) (*pb.Specification, error) {
			s.Name = name
			return pb.NewSpecificationServiceClient(conn).UpdateSpecification(ctx, &pb.UpdateSpecificationRequest{Specification: s, UpdateMask: mask})
		},
	}
}

// fastenerColumns are the columns of the fastener of a thing.
func fastenerColumns[T any](fastener func(T) *pb.Fastener) []output.Column[T] {
	return []output.Column[T]{
		{Name: "thread", Heading: "THREAD", Value: func(t T) any { return text(fastener(t).GetThread()) }},
		{Name: "length_mm", Heading: "mm", Value: func(t T) any { return figure(fastener(t).GetLengthMillimetres()) }},
		{Name: "material", Heading: "MATERIAL", Value: func(t T) any { return text(wordOf(ledger.Materials, fastener(t).GetMaterial())) }},
		{Name: "property_class", Value: func(t T) any { return text(fastener(t).GetPropertyClass()) }},
		{Name: "coating", Value: func(t T) any { return text(fastener(t).GetCoating()) }},
		{Name: "head", Value: func(t T) any { return text(fastener(t).GetHead()) }},
	}
}

// fastener binds the flags of a fastener, which is in the field at path.
func (f *fields) fastener(dst *pb.Fastener, path string) {
	f.text(&dst.Thread, "thread", path+".thread", "thread, such as M10")
	f.length(&dst.LengthMillimetres, "length", path+".length_millimetres", "nominal length")
	wordField(f, &dst.Material, ledger.Materials, "material", path+".material", "material of the fastener")
	f.text(&dst.PropertyClass, "property-class", path+".property_class", "property class or condition, such as 8.8 or A2-70")
	f.text(&dst.Coating, "coating", path+".coating", "coating, such as plain or hot-dip")
	f.text(&dst.Head, "head", path+".head", "head form, such as hex or flange")
}

func specColumns() []output.Column[*pb.Specification] {
	type spec = *pb.Specification
	columns := []output.Column[spec]{
		{Name: "spec", Heading: "SPEC", Value: func(s spec) any {
			// A revision's name ends with its number, which has a column of its own.
			code, _, _ := strings.Cut(ledger.ShortName(s.GetName()), "@")
			return code
		}},
		{Name: "revision", Heading: "REV", Value: func(s spec) any { return s.GetRevision() }},
	}
	columns = append(columns, fastenerColumns(spec.GetFastener)...)
	columns = append(columns, []output.Column[spec]{
		{Name: "treatment", Heading: "TREATMENT", Value: func(s spec) any { return text(wordOf(ledger.Treatments, s.GetTreatment())) }},
		{Name: "locking", Value: func(s spec) any { return text(wordOf(ledger.LockingMethods, s.GetLockingMethod())) }},
		{Name: "torque_n_m", Heading: "N.m", Value: func(s spec) any { return s.GetTorqueNewtonMetres() }},
		{Name: "torque_tolerance_pct", Heading: "±%", Value: func(s spec) any { return s.GetTorqueTolerancePercent() }},
		{Name: "torque_basis", Heading: "BASIS", Value: func(s spec) any { return text(wordOf(ledger.TorqueBases, s.GetTorqueBasis())) }},
		{Name: "nut_factor", Value: func(s spec) any { return figure(s.GetNutFactor()) }},
		{Name: "torque_tool_required", Value: func(s spec) any { return s.GetTorqueToolRequired() }},
		{Name: "sealant", Heading: "SEALANT", Value: func(s spec) any { return text(s.GetSealant()) }},
		{Name: "seal_width_mm", Value: func(s spec) any { return figure(s.GetSealWidthMillimetres()) }},
		{Name: "min_surface_c", Value: func(s spec) any {
			if s.MinimumSurfaceCelsius == nil {
				return nil
			}
			return s.GetMinimumSurfaceCelsius()
		}},
	}...)
	return append(columns, stamped[spec]()...)
}

func specFields(cmd *cobra.Command, s *pb.Specification) *fields {
	f := newFields(cmd)
	f.fastener(s.Fastener, "fastener")
	wordField(f, &s.Treatment, ledger.Treatments, "treatment", "treatment", "what the threads shall carry")
	wordField(f, &s.LockingMethod, ledger.LockingMethods, "locking", "locking_method", "how the fastener is kept from working loose")
	f.torque(&s.TorqueNewtonMetres, "torque", "torque_newton_metres", "target torque")
	f.number(&s.TorqueTolerancePercent, "torque-tolerance-pct", "torque_tolerance_percent", "half-width of the torque window, percent")
	wordField(f, &s.TorqueBasis, ledger.TorqueBases, "torque-basis", "torque_basis", "thread condition that the torque assumes")
	f.number(&s.NutFactor, "nut-factor", "nut_factor", "nut factor K that the torque assumes")
	f.boolean(&s.TorqueToolRequired, "torque-tool-required", "torque_tool_required", "the final torque must be taken with a torque tool")
	f.text(&s.Sealant, "sealant", "sealant", "sealant kind, such as strip")
	f.length(&s.SealWidthMillimetres, "seal-width", "seal_width_millimetres", "sealant width")
	f.temperature(&s.MinimumSurfaceCelsius, "min-surface", "minimum_surface_celsius", "lowest surface temperature for sealing")
	return f
}

func (a *app) specList() *cobra.Command {
	var limit int
	cmd := a.command("list", "List joint specifications", caution)
	limitFlag(cmd, &limit)
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewSpecificationServiceClient(conn)
		return list(a, limit, "specs", specColumns(), func(size int32, token string) ([]*pb.Specification, string, error) {
			page, err := client.ListSpecifications(ctx, &pb.ListSpecificationsRequest{PageSize: size, PageToken: token})
			return page.GetSpecifications(), page.GetNextPageToken(), err
		}, torqueCaution())
	})
}

func (a *app) specRevisions() *cobra.Command {
	cmd := a.command("revisions SPEC", "List every revision of a specification, oldest first",
		"A record keeps the revision under which it was made. One revision is shown with\n`spec show SPEC@REVISION`.\n"+caution)
	return a.runs(cmd, func(ctx context.Context, args []string) error {
		name, err := resourceArg(args[0], "specifications")
		if err != nil {
			return err
		}
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewSpecificationServiceClient(conn)
		return list(a, 0, "specs", specColumns(), func(int32, string) ([]*pb.Specification, string, error) {
			answer, err := client.ListSpecificationRevisions(ctx, &pb.ListSpecificationRevisionsRequest{Name: name})
			return answer.GetSpecifications(), "", err
		}, torqueCaution())
	})
}
