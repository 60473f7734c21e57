package service

import (
	"crypto/sha256"
	"encoding/hex"

	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

func attachmentTo(a store.Attachment) *pb.AttachmentInfo {
	return &pb.AttachmentInfo{
		Name:       resourceName("attachments", hex.EncodeToString(a.SHA256[:])),
		Record:     a.Record,
		FileName:   a.FileName,
		MediaType:  a.MediaType,
		SizeBytes:  a.Size,
		CreateTime: timestamp(a.CreateTime),
	}
}

// attachment reads the name of an attachment.
func (p *problems) attachment(field, name string) (sum [sha256.Size]byte) {
	text := p.required(field, "attachments", name)
	if text == "" {
		return sum
	}
	raw, err := hex.DecodeString(text)
	if err != nil || len(raw) != sha256.Size {
		p.add(field, "%q is not a SHA-256; expected 64 hexadecimal digits", text)
		return sum
	}
	return [sha256.Size]byte(raw)
}
