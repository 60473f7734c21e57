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

func (a *app) batchCommand() *cobra.Command {
	n := batchNoun()
	return group("batch", "Batches of consumables: anti-seize, compound, sealant, solvent", n.add(a), a.batchList(), n.show(a), n.set(a))
}

func batchNoun() *noun[*pb.Batch] {
	return &noun[*pb.Batch]{
		word: "batch", plural: "batches", arg: "BATCH",
		help:     "BATCH is its number: letters, digits, dots, underscores and hyphens.",
		columns:  batchColumns,
		name:     collectionName("batches"),
		fresh:    func() *pb.Batch { return &pb.Batch{} },
		fields:   batchFields,
		required: []string{"kind"},
		create: func(ctx context.Context, conn *grpc.ClientConn, name string, b *pb.Batch) (*pb.Batch, error) {
			return pb.NewConsumableServiceClient(conn).CreateBatch(ctx, &pb.CreateBatchRequest{BatchId: lastOf(name), Batch: b})
		},
		get: func(ctx context.Context, conn *grpc.ClientConn, name string) (*pb.Batch, error) {
			return pb.NewConsumableServiceClient(conn).GetBatch(ctx, &pb.GetBatchRequest{Name: name})
		},
		update: func(ctx context.Context, conn *grpc.ClientConn, name string, b *pb.Batch, mask *fieldmaskpb.FieldMask) (*pb.Batch, error) {
			b.Name = name
			return pb.NewConsumableServiceClient(conn).UpdateBatch(ctx, &pb.UpdateBatchRequest{Batch: b, UpdateMask: mask})
		},
	}
}

func batchColumns() []output.Column[*pb.Batch] {
	type batch = *pb.Batch
	return append([]output.Column[batch]{
		{Name: "batch", Heading: "BATCH", Value: func(b batch) any { return ledger.ShortName(b.GetName()) }},
		{Name: "kind", Heading: "KIND", Value: func(b batch) any { return text(wordOf(ledger.ConsumableKinds, b.GetKind())) }},
		{Name: "product", Heading: "PRODUCT", Value: func(b batch) any { return text(b.GetProduct()) }},
		{Name: "expires", Heading: "EXPIRES", Value: func(b batch) any { return text(b.GetExpireDate()) }},
		{Name: "min_c", Heading: "MIN °C", Value: func(b batch) any { return pointed(b.MinimumCelsius) }},
		{Name: "max_c", Heading: "MAX °C", Value: func(b batch) any { return pointed(b.MaximumCelsius) }},
	}, stamped[batch]()...)
}

func batchFields(cmd *cobra.Command, b *pb.Batch) *fields {
	f := newFields(cmd)
	wordField(f, &b.Kind, ledger.ConsumableKinds, "kind", "kind", "what it is")
	f.text(&b.Product, "product", "product", "product as its label describes it")
	f.day(&b.ExpireDate, "expires", "expire_date", "last day of its shelf life")
	f.temperature(&b.MinimumCelsius, "min-temperature", "minimum_celsius", "lowest temperature of application")
	f.temperature(&b.MaximumCelsius, "max-temperature", "maximum_celsius", "highest temperature of application")
	return f
}

func (a *app) batchList() *cobra.Command {
	var limit int
	request := &pb.ListBatchesRequest{}
	cmd := a.command("list", "List batches of consumables", "")
	limitFlag(cmd, &limit)
	f := newFields(cmd)
	wordField(f, &request.Kind, ledger.ConsumableKinds, "kind", "kind", "only of this kind")
	return a.runs(cmd, func(ctx context.Context, _ []string) error {
		conn, err := a.dial()
		if err != nil {
			return err
		}
		client := pb.NewConsumableServiceClient(conn)
		return list(a, limit, "batches", batchColumns(), func(size int32, token string) ([]*pb.Batch, string, error) {
			request.PageSize, request.PageToken = size, token
			page, err := client.ListBatches(ctx, request)
			return page.GetBatches(), page.GetNextPageToken(), err
		})
	})
}
