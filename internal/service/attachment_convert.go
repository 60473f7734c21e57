package service

import (
	"crypto/sha256"
	"encoding/hex"

	"jointledger/internal/store"
	"jointledger/internal/wire"
	pb "jointledger/proto/jointledger/v1"
)

func attachmentTo(a store.Attachment) *pb.AttachmentInfo {
	return &pb.AttachmentInfo{
		Name:       wire.ResourceName("attachments", hex.EncodeToString(a.SHA256[:])),
		Record:     a.Record,
		FileName:   a.FileName,
		MediaType:  a.MediaType,
		SizeBytes:  a.Size,
		CreateTime: wire.Timestamp(a.CreateTime),
	}
}

// attachmentSum reads the name of an attachment.
func attachmentSum(p *problems, field, name string) (sum [sha256.Size]byte) {
	text := p.Required(field, "attachments", name)
	if text == "" {
		return sum
	}
	raw, err := hex.DecodeString(text)
	if err != nil || len(raw) != sha256.Size {
		p.Add(field, "%q is not a SHA-256; expected 64 hexadecimal digits", text)
		return sum
	}
	return [sha256.Size]byte(raw)
}
