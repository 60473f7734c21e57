package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"math/rand/v2"
	"slices"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// call is what a writer asks for once, and again under the same ids until it knows what
// became of it: tightenings, or an incident, or a correction, or an attachment.
type call struct {
	tightenings []*pb.Tightening
	incident    *pb.Incident
	correction  *pb.Correction
	file        *file
}

// file is an attachment: its content follows from its seed.
type file struct {
	record string
	seed   uint64
	size   int
}

// pngSignature are the first bytes of a picture (ISO 15948:2004, 5.2); more of it is not
// looked at.
const pngSignature = "\x89PNG\r\n\x1a\n"

func (f *file) content() []byte {
	b := make([]byte, f.size)
	var seed [32]byte
	for i := range 8 {
		seed[i] = byte(f.seed >> (8 * i))
	}
	_, _ = rand.NewChaCha8(seed).Read(b) // it never fails
	copy(b, pngSignature)
	return b
}

// key names the attachment: the record and the content's SHA-256.
func (f *file) key() string {
	sum := sha256.Sum256(f.content())
	return f.record + " " + hex.EncodeToString(sum[:])
}

// newID makes the id of a record, a UUIDv7.
func newID() string { return uuid.Must(uuid.NewV7()).String() }

func entryNow() *pb.Entry {
	return &pb.Entry{OccurTime: timestamppb.New(time.Now().Truncate(time.Microsecond)), Person: "people/ab", Device: "faults"}
}

func newTightening(draw *rand.Rand) *pb.Tightening {
	_, at := joint(draw)
	return &pb.Tightening{
		Name: "tightenings/" + newID(), Joint: at, Lot: "lots/M10-A", Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE, Fasteners: int32(1 + draw.IntN(12)),
		Pass: pb.Pass_PASS_FIRST, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND, Entry: entryNow(),
	}
}

func newIncident(draw *rand.Rand) *pb.Incident {
	site, at := joint(draw)
	return &pb.Incident{
		Name: "incidents/" + newID(), Kind: pb.IncidentKind_INCIDENT_KIND_GALLING, Site: "sites/" + site, Joint: at, Fasteners: 1, Lot: "lots/M10-A",
		Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND, Noticed: "at three turns", Action: "cut off", Entry: entryNow(),
	}
}

// newCorrection withdraws a tightening, or puts another in its place.
func newCorrection(draw *rand.Rand, of string) *pb.Correction {
	c := &pb.Correction{Name: "corrections/" + newID(), Corrects: of, Reason: "miscounted", Entry: entryNow()}
	if draw.IntN(2) == 0 {
		c.Replacement = &pb.Correction_Tightening{Tightening: newTightening(draw)}
	}
	return c
}

// newFile draws an attachment: as a rule small, now and then of several parts in the
// database, and now and then one that hangs on other records too.
func newFile(draw *rand.Rand, record string) *file {
	f := &file{record: record, seed: draw.Uint64(), size: 100 + draw.IntN(20_000)}
	switch draw.IntN(20) {
	case 0:
		f.size = 300_000
	case 1, 2:
		f.seed, f.size = draw.Uint64N(20), 5000
	}
	return f
}

// names are the records that the call asks to keep.
func (c *call) names() []string {
	var names []string
	for _, r := range c.tightenings {
		names = append(names, r.Name)
	}
	if c.incident != nil {
		names = append(names, c.incident.Name)
	}
	if c.correction != nil {
		names = append(names, c.correction.Name)
		if r := c.correction.GetTightening(); r != nil {
			names = append(names, r.Name)
		}
	}
	return names
}

// send makes the call and gives what became of each record of names; of an attachment
// it gives nothing, as there is one answer to it.
func (c *call) send(ctx context.Context, conn *grpc.ClientConn) ([]*pb.Outcome, error) {
	// A server that is being started again is waited for: a call that never left says
	// nothing of what a server does to those that did.
	wait := grpc.WaitForReady(true)
	switch {
	case c.incident != nil:
		answer, err := pb.NewAssemblyServiceClient(conn).RecordIncidents(ctx, &pb.RecordIncidentsRequest{Incidents: []*pb.Incident{c.incident}}, wait)
		return answer.GetOutcomes(), err
	case c.correction != nil:
		answer, err := pb.NewControlServiceClient(conn).RecordCorrections(ctx, &pb.RecordCorrectionsRequest{Corrections: []*pb.Correction{c.correction}}, wait)
		if err != nil || len(answer.Outcomes) != 1 {
			return answer.GetOutcomes(), err
		}
		// One answer for the correction and for what it puts in the place.
		return slices.Repeat(answer.Outcomes, len(c.names())), nil
	case c.file != nil:
		return nil, c.file.upload(ctx, conn)
	}
	answer, err := pb.NewAssemblyServiceClient(conn).RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: c.tightenings}, wait)
	return answer.GetOutcomes(), err
}

func (f *file) upload(ctx context.Context, conn *grpc.ClientConn) error {
	stream, err := pb.NewAttachmentServiceClient(conn).UploadAttachment(ctx, grpc.WaitForReady(true))
	if err != nil {
		return err
	}
	content := f.content()
	sum := sha256.Sum256(content)
	head := &pb.AttachmentHead{Record: f.record, FileName: fmt.Sprintf("%x.png", f.seed), MediaType: "image/png", Sha256: sum[:]}
	err = stream.Send(&pb.UploadAttachmentRequest{Part: &pb.UploadAttachmentRequest_Head{Head: head}})
	for part := range slices.Chunk(content, 128<<10) {
		if err == nil {
			err = stream.Send(&pb.UploadAttachmentRequest{Part: &pb.UploadAttachmentRequest_Chunk{Chunk: part}})
		}
	}
	if err != nil && err != io.EOF { //nolint:errorlint // gRPC's own sign that the answer is there already
		return err
	}
	_, err = stream.CloseAndRecv()
	return err
}
