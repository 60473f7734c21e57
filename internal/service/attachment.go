package service

import (
	"context"
	"slices"

	"google.golang.org/grpc"

	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// downloadBytes is the size of a chunk that is sent.
const downloadBytes = 256 << 10

// DownloadAttachment sends the content in chunks.
func (s attachmentService) DownloadAttachment(r *pb.DownloadAttachmentRequest, stream grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error {
	ctx := stream.Context()
	var p problems
	sum := attachmentSum(&p, "name", r.Name)
	if err := ledger.Invalid("request", p); err != nil {
		return err
	}
	return s.store.AttachmentContent(ctx, sum, func(part []byte) error {
		for chunk := range slices.Chunk(part, downloadBytes) {
			if err := stream.Send(&pb.DownloadAttachmentResponse{Chunk: chunk}); err != nil {
				return err
			}
		}
		return nil
	})
}

// ListAttachments reads what is attached to a record.
func (s attachmentService) ListAttachments(ctx context.Context, r *pb.ListAttachmentsRequest) (*pb.ListAttachmentsResponse, error) {
	var p problems
	kind, id := p.AnyRecord("record", r.Record)
	if err := ledger.Invalid("request", p); err != nil {
		return nil, err
	}
	found, err := s.store.Attachments(ctx, kind, id)
	if err != nil {
		return nil, err
	}
	resp := &pb.ListAttachmentsResponse{}
	for _, a := range found {
		resp.Attachments = append(resp.Attachments, attachmentTo(a))
	}
	return resp, nil
}
