package main

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"strings"

	"google.golang.org/grpc"

	pb "jointledger/proto/jointledger/v1"
)

// pageSize is the largest page that a list gives.
const pageSize = 1000

// onRecord reads through the API how often each tightening, incident and correction is
// on record.
func onRecord(ctx context.Context, conn *grpc.ClientConn) (map[string]int, error) {
	found := map[string]int{}
	assembly, control := pb.NewAssemblyServiceClient(conn), pb.NewControlServiceClient(conn)
	for _, page := range []func(token string) (next string, err error){
		func(token string) (string, error) {
			p, err := assembly.ListTightenings(ctx, &pb.ListTighteningsRequest{PageSize: pageSize, PageToken: token})
			for _, r := range p.GetTightenings() {
				found[r.Name]++
			}
			return p.GetNextPageToken(), err
		},
		func(token string) (string, error) {
			p, err := assembly.ListIncidents(ctx, &pb.ListIncidentsRequest{PageSize: pageSize, PageToken: token})
			for _, r := range p.GetIncidents() {
				found[r.Name]++
			}
			return p.GetNextPageToken(), err
		},
		func(token string) (string, error) {
			p, err := control.ListCorrections(ctx, &pb.ListCorrectionsRequest{PageSize: pageSize, PageToken: token})
			for _, r := range p.GetCorrections() {
				found[r.Name]++
			}
			return p.GetNextPageToken(), err
		},
	} {
		for token := ""; ; {
			next, err := page(token)
			if err != nil {
				return nil, fmt.Errorf("reading what is on record: %w", err)
			}
			if token = next; token == "" {
				break
			}
		}
	}
	return found, nil
}

// checkServer asks a server for all that it has on record and holds it against what the
// writers were told; it notes what was lost and doubled in the line.
func (a *answers) checkServer(ctx context.Context, address, token string, l *line) error {
	conn, err := dial(address, token)
	if err != nil {
		return err
	}
	defer conn.Close()
	found, err := onRecord(ctx, conn)
	if err != nil {
		return err
	}
	a.compare(found, l)
	rates, err := pb.NewAnalysisServiceClient(conn).QueryRates(ctx, &pb.QueryRatesRequest{})
	if err != nil {
		return err
	}
	if got, want := rates.GetTotal().GetAttempts(), a.attempts(); got != want {
		l.problems.add("the server counts %d attempts; what it acknowledged makes %d", got, want)
	}
	l.Checks++
	return a.download(ctx, conn, l)
}

// compare holds what is on record against what was acknowledged.
func (a *answers) compare(found map[string]int, l *line) {
	a.mu.Lock()
	defer a.mu.Unlock()
	for name, f := range a.records {
		switch n := found[name]; {
		case f.acknowledged && n == 0:
			l.Lost++
			l.problems.add("%s was acknowledged and is lost", name)
		case n > 1 || f.taken > 1:
			l.Doubled++
			l.problems.add("%s is on record %d times and was taken %d times", name, n, f.taken)
		case !f.acknowledged && n > 0:
			l.problems.add("%s is on record, and the writer was never told", name)
		}
		if f.acknowledged {
			l.Acknowledged++
		}
		if f.unknown {
			l.Unknown++
			if f.acknowledged && f.taken == 0 {
				l.Kept++
			}
		}
	}
	for name := range a.besides {
		switch n := found[name]; {
		case n == 0:
			l.Lost++
			l.problems.add("the entry %s was said to be kept, and did not arrive", name)
		case n > 1:
			l.Doubled++
			l.problems.add("the entry %s is on record %d times", name, n)
		}
	}
	for name := range found {
		if a.records[name] == nil && !a.besides[name] {
			l.problems.add("%s is on record, and nobody sent it", name)
		}
	}
	l.Checks++
	l.UnknownReplies += int(a.unknownReplies.Load())
}

// attempts are the fasteners of the acknowledged records, first passes and thread
// failures, that no acknowledged correction withdraws.
func (a *answers) attempts() int64 {
	a.mu.Lock()
	defer a.mu.Unlock()
	sum := int64(len(a.besides))
	for _, f := range a.records {
		if !f.acknowledged {
			continue
		}
		sum += int64(f.fasteners)
		if of := a.records[f.corrects]; of != nil {
			sum -= int64(of.fasteners)
		}
	}
	return sum
}

// download reads some of the attached contents.
func (a *answers) download(ctx context.Context, conn *grpc.ClientConn, l *line) error {
	const most = 50
	read := 0
	for key, f := range a.files {
		if !f.acknowledged {
			continue
		}
		if read++; read > most {
			break
		}
		_, sum, _ := strings.Cut(key, " ")
		stream, err := pb.NewAttachmentServiceClient(conn).DownloadAttachment(ctx, &pb.DownloadAttachmentRequest{Name: "attachments/" + sum})
		if err != nil {
			return err
		}
		hash := sha256.New()
		for {
			m, err := stream.Recv()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				l.problems.add("reading attachments/%s: %v", sum, err)
				break
			}
			hash.Write(m.Chunk)
		}
		if got := hex.EncodeToString(hash.Sum(nil)); got != sum {
			l.problems.add("attachments/%s is downloaded with the SHA-256 %s", sum, got)
		}
	}
	l.Checks++
	return nil
}

// verify has trackerd check chains, tallies, guards and contents, and looks into the
// database itself for what verify does not look for.
func (g *rig) verify(ctx context.Context, d database, a *answers, l *line) {
	code, said := g.trackerd(ctx, d, "verify")
	if code != 0 || !strings.Contains(said, "tallies equal a recount") || strings.Count(said, "whole") != len(siteCodes) {
		l.problems.add("trackerd verify: status %d; %s", code, said)
	}
	l.Checks++
	if err := inspect(ctx, d, a, l); err != nil {
		l.problems.add("looking into the database: %v", err)
	}
	l.Checks++
}
