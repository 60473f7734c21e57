package main

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/google/uuid"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/carry/outbox"
	"jointledger/internal/pgcluster"
	pb "jointledger/proto/jointledger/v1"
)

// lines are what the line between client and server is like, in turn.
var lines = []quality{
	{delay: 40 * time.Millisecond, rate: 250_000},
	{delay: 200 * time.Millisecond, rate: 100_000, loss: 0.02},
	{delay: 5 * time.Millisecond, loss: 0.1},
	{},
}

// honestTime is within what an entry must be over, whatever the line is like: its tries
// to reach the server end after 300 ms, and its wait for answers after 5 s. The rest is
// for a machine that is busy.
const honestTime = 15 * time.Second

// network has clients and a server in two networks, with a line between them that is
// slow, loses packets, and is cut for a while, under writers and while a device sends
// thousands of entries. Each must come to be kept once.
func network(ctx context.Context, g *rig, l *line) error {
	part := uint64(6000)
	if l.Engine == "postgres" {
		part = 6500 // the engines are broken at the same time, and each has a network of its own
	}
	w, err := newWire(ctx, g.draw(part))
	if err != nil {
		return err
	}
	defer w.remove()
	s := &stage{rig: g, draw: g.draw(part + 1), line: l, how: w.inside(), flags: []string{"--allow-plaintext"}}
	defer s.close()
	d, err := s.farServer(ctx, w)
	if err != nil {
		return err
	}
	said, err := g.waitingEntries(d)
	if err != nil {
		return err
	}
	if s.load, err = g.newLoad(max(1, g.writers/4), part, callPatience, s.token, s.servers[0].address); err != nil {
		return err
	}
	s.load.answers.besides = said
	s.load.run()
	sent := make(chan told, 1)
	go func() { sent <- d.run(ctx, "send", "--wait") }()
	for range g.rounds {
		l.Rounds++
		if err := s.poorLine(ctx, w, d, said); err != nil {
			return fmt.Errorf("round %d: %w", l.Rounds, err)
		}
	}
	w.is(quality{})
	if t := <-sent; t.code != 0 {
		l.problems.add("send --wait: status %d; %s%s", t.code, t.out, t.err)
	}
	if err := d.must(ctx, "send --wait"); err != nil {
		return err
	}
	if err := s.finish(ctx); err != nil {
		return err
	}
	l.Acknowledged += len(said)
	return nil
}

// farServer starts a server at the far end, which asks for a token as it must beyond its
// own machine, and gives a device that carries a site. PostgreSQL stays at this end; the
// server reaches it by its socket in the file system, which is not of any network.
func (s *stage) farServer(ctx context.Context, w *wire) (*device, error) {
	folder, err := s.rig.subfolder("data")
	if err != nil {
		return nil, err
	}
	tokenFile := filepath.Join(folder, "administrator.token")
	if s.data.folder = folder; s.line.Engine == "postgres" {
		if err := s.makeCluster(ctx, pgcluster.Options{}); err != nil {
			return nil, err
		}
		s.data = database{dsn: s.cluster.LocalDSN("postgres")}
		s.flags = append(s.flags, "--admin-token-file", tokenFile)
		if err := s.migrate(ctx); err != nil {
			return nil, err
		}
	}
	one, err := s.rig.serve(s.how, s.data, net.JoinHostPort(w.there, "7733"), s.flags...)
	if err != nil {
		return nil, err
	}
	s.servers = append(s.servers, one)
	text, err := os.ReadFile(tokenFile)
	if err != nil {
		return nil, err
	}
	s.token = strings.TrimSpace(string(text))
	env := []string{"JOINTLEDGER_TOKEN_FILE=" + tokenFile}
	if err := s.rig.register(ctx, one.address, env...); err != nil {
		return nil, err
	}
	folder, err = s.rig.subfolder("device")
	if err != nil {
		return nil, err
	}
	d := &device{rig: s.rig, folder: filepath.Join(folder, "device"), address: one.address, env: env}
	return d, d.must(ctx, "carry ASH")
}

// waitingEntries puts entries into a device's outbox, as if made without a signal.
func (g *rig) waitingEntries(d *device) (map[string]bool, error) {
	said := map[string]bool{}
	at := time.Now().Add(-time.Duration(g.entries) * time.Second).Truncate(time.Second)
	var drafts []outbox.Draft
	for i := range g.entries {
		id, err := uuid.NewV7()
		if err != nil {
			return nil, err
		}
		at := at.Add(time.Duration(i) * time.Second)
		drafts = append(drafts, outbox.Draft{
			ID: id, At: at, New: true, Summary: fmt.Sprintf("entry %d", i),
			Record: &pb.DeliveredRecord{Record: &pb.DeliveredRecord_Tightening{Tightening: &pb.Tightening{
				Name: "tightenings/" + id.String(), Joint: "sites/ASH/towers/CT1/cells/C1/joints/J1", Fasteners: 1, Lot: "lots/M10-A",
				Treatment: pb.Treatment_TREATMENT_ANTI_SEIZE, Pass: pb.Pass_PASS_FIRST, DrivingMethod: pb.DrivingMethod_DRIVING_METHOD_HAND,
				Entry: &pb.Entry{OccurTime: timestamppb.New(at), Person: "people/ab", Offline: true},
			}}},
		})
		said["tightenings/"+id.String()] = true
	}
	_, err := outbox.In(filepath.Join(d.folder, "outbox")).Keep(drafts...)
	return said, err
}

// poorLine makes the line poor for a while, cuts it for seconds, each time in another
// way, and makes an entry meanwhile.
func (s *stage) poorLine(ctx context.Context, w *wire, d *device, said map[string]bool) error {
	quality := lines[s.line.Rounds%len(lines)]
	w.is(quality)
	time.Sleep(between(s.draw, 500*time.Millisecond, 1500*time.Millisecond))
	down := s.line.Rounds%2 == 0
	if down {
		if err := w.unplug(ctx, true); err != nil {
			return err
		}
	} else {
		w.is(cut)
	}
	began := time.Now()
	t := d.run(ctx, entryOf...)
	took := time.Since(began)
	m := saidKept.FindStringSubmatch(t.out)
	switch {
	case t.code != 0 || m == nil:
		s.line.problems.add("an entry with the line cut: status %d; %s%s", t.code, t.out, t.err)
	case took > honestTime:
		s.line.problems.add("an entry with the line cut took %s", took)
	}
	if m != nil {
		s.load.answers.mu.Lock()
		said["tightenings/"+m[2]] = true
		s.load.answers.mu.Unlock()
	}
	s.line.Checks++
	time.Sleep(between(s.draw, time.Second, 3*time.Second))
	if down {
		if err := w.unplug(ctx, false); err != nil {
			return err
		}
	}
	w.is(quality)
	if err := s.load.answers.more(10, s.servers[0].done); err != nil {
		return fmt.Errorf("after the line was cut: %w", err)
	}
	return nil
}

// cut is a line that carries nothing.
var cut = quality{loss: 1}
