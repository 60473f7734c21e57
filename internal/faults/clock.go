package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "jointledger/proto/jointledger/v1"
)

// How far a record's time may lie ahead of the server's clock, and behind it, before the
// rule `clock` is broken (internal/rules, defaults "clock-ahead" and "clock-behind").
const (
	clockAheadLimit  = 5 * time.Minute
	clockBehindLimit = 24 * time.Hour
)

// clockSteps are by how much clocks are set ahead of the true time.
var clockSteps = []time.Duration{30 * time.Second, -30 * time.Second, 2 * time.Hour, -2 * time.Hour, 40 * time.Hour, -40 * time.Hour, 400 * 24 * time.Hour, -400 * 24 * time.Hour}

// clock steps the clocks of servers under writers, and those of devices between entries.
// Chains and tallies must stay whole, ids their own, the rule `clock` must be told of
// where it is broken and nowhere else, and a credential must hold by the server's clock.
func clock(ctx context.Context, g *rig, l *line) error {
	servers := 1
	if l.Engine == "postgres" {
		servers = 2
	}
	s, err := g.open(ctx, l, 5000, "", servers, launch{ownClock: true})
	if err != nil {
		return err
	}
	defer s.close()
	folder, err := g.subfolder("device")
	if err != nil {
		return err
	}
	d := &device{rig: g, folder: filepath.Join(folder, "device"), address: s.servers[0].address}
	if err := d.must(ctx, "carry ASH"); err != nil {
		return err
	}
	if err := s.write(g.writers, 5000); err != nil {
		return err
	}
	for range g.rounds {
		l.Rounds++
		if err := s.clockRound(ctx); err != nil {
			return fmt.Errorf("round %d: %w", l.Rounds, err)
		}
	}
	for _, one := range s.servers {
		if err := one.clock.step(0); err != nil {
			return err
		}
	}
	if err := s.load.answers.more(20, s.servers[0].done); err != nil {
		return err
	}
	if err := s.finish(ctx); err != nil {
		return err
	}
	if err := s.again(0); err != nil {
		return err
	}
	if err := s.deviceClock(ctx, d); err != nil {
		return err
	}
	if err := s.servers[0].stop(); err != nil {
		return err
	}
	if err := s.credentialClock(ctx); err != nil {
		return err
	}
	g.verify(ctx, s.data, newAnswers(), l)
	return nil
}

// clockRound steps the clock of one server and asks what it finds on a record of now.
func (s *stage) clockRound(ctx context.Context) error {
	i := s.draw.IntN(len(s.servers))
	one, ahead := s.servers[i], clockSteps[s.draw.IntN(len(clockSteps))]
	if err := one.clock.step(ahead); err != nil {
		return err
	}
	if err := s.load.answers.more(20, one.done); err != nil {
		return fmt.Errorf("with the clock %s ahead: %w", ahead, err)
	}
	conn, err := dial(one.address, "")
	if err != nil {
		return err
	}
	defer conn.Close()
	ask := func() (*pb.Outcome, error) {
		// Nothing of it is kept.
		answer, err := pb.NewAssemblyServiceClient(conn).RecordTightenings(ctx, &pb.RecordTighteningsRequest{Tightenings: []*pb.Tightening{newTightening(s.draw)}, ValidateOnly: true})
		if err != nil {
			return nil, err
		}
		return answer.Outcomes[0], nil
	}
	outcome, err := ask()
	for deadline := time.Now().Add(patience); status.Code(err) == codes.Aborted && time.Now().Before(deadline); {
		outcome, err = ask()
	}
	if err != nil {
		return err
	}
	expected := -ahead > clockAheadLimit || ahead > clockBehindLimit
	if found := hasFinding(outcome, "clock"); found != expected {
		s.line.problems.add("a server whose clock is %s ahead finds fault with the time of a record of now: %t; expected %t", ahead, found, expected)
	}
	s.line.Checks++
	return nil
}

func hasFinding(o *pb.Outcome, rule string) bool {
	for _, f := range o.GetFindings() {
		if f.Rule == rule {
			return true
		}
	}
	return false
}

// deviceClock makes entries on a device whose clock is stepped between them, sends them,
// and looks that each arrives once, and that the server finds fault with the time of
// those that were made ahead of it.
func (s *stage) deviceClock(ctx context.Context, d *device) error {
	said := map[string]time.Duration{}
	for _, ahead := range append(clockSteps, 0, 0) {
		t := d.runAt(ahead, append(entryOf[:len(entryOf):len(entryOf)], "--offline-only")...)
		m := saidKept.FindStringSubmatch(t.out)
		if t.code != 0 || m == nil {
			return fmt.Errorf("an entry with the clock %s ahead: status %d; %s%s", ahead, t.code, t.out, t.err)
		}
		if _, twice := said[m[2]]; twice {
			s.line.Doubled++
			s.line.problems.add("two entries have the id %s", m[2])
		}
		said[m[2]] = ahead
	}
	if err := d.must(ctx, "send --wait"); err != nil {
		return err
	}
	conn, err := dial(s.servers[0].address, "")
	if err != nil {
		return err
	}
	defer conn.Close()
	found, err := onRecord(ctx, conn)
	if err != nil {
		return err
	}
	faulty := map[string]bool{}
	for token := ""; ; {
		page, err := pb.NewProgressServiceClient(conn).ListFindings(ctx, &pb.ListFindingsRequest{Rule: "clock", PageSize: pageSize, PageToken: token})
		if err != nil {
			return err
		}
		for _, f := range page.Findings {
			faulty[f.Record] = true
		}
		if token = page.NextPageToken; token == "" {
			break
		}
	}
	for id, ahead := range said {
		name := "tightenings/" + id
		s.line.Acknowledged++
		if found[name] != 1 {
			s.line.Lost++
			s.line.problems.add("the entry %s was said to be kept and is on record %d times", id, found[name])
		}
		// Off-line entries may come as late as they like.
		if expected := ahead > clockAheadLimit; faulty[name] != expected {
			s.line.problems.add("the time of an entry made with the clock %s ahead was found at fault: %t; expected %t", ahead, faulty[name], expected)
		}
	}
	s.line.Checks += 2
	return nil
}

// runAt runs trackctl with its clock so much ahead.
func (d *device) runAt(ahead time.Duration, args ...string) told {
	cmd := d.command(context.Background(), args...)
	var out, errOut strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &errOut
	clock, err := startWithClock(cmd, ahead)
	if err != nil {
		return told{err: err.Error(), code: -2}
	}
	defer clock.close()
	_ = cmd.Wait() // its status tells
	return told{out.String(), errOut.String(), cmd.ProcessState.ExitCode()}
}

// credentialClock looks that a token that ends in an hour holds by the server's clock: not
// once that is two hours ahead, and again when it is right.
func (s *stage) credentialClock(ctx context.Context) error {
	if code, said := s.rig.trackerd(ctx, s.data, "principal", "add", "clock-keeper", "--role", "administrator", "--everywhere"); code != 0 {
		return fmt.Errorf("trackerd principal add: status %d; %s", code, said)
	}
	code, said := s.rig.trackerd(ctx, s.data, "token", "issue", "clock-keeper", "--expires", "1h")
	if code != 0 {
		return fmt.Errorf("trackerd token issue: status %d; %s", code, said)
	}
	token := tokenIn(said)
	one, err := s.rig.serve(launch{ownClock: true}, s.data, "127.0.0.1:0", "--ask-loopback")
	if err != nil {
		return err
	}
	defer one.end()
	conn, err := dial(one.address, token)
	if err != nil {
		return err
	}
	defer conn.Close()
	for _, step := range []struct {
		ahead time.Duration
		want  codes.Code
	}{{0, codes.OK}, {2 * time.Hour, codes.Unauthenticated}, {0, codes.OK}, {-48 * time.Hour, codes.OK}, {400 * 24 * time.Hour, codes.Unauthenticated}, {0, codes.OK}} {
		if err := one.clock.step(step.ahead); err != nil {
			return err
		}
		_, err := pb.NewStructureServiceClient(conn).ListSites(ctx, &pb.ListSitesRequest{})
		if got := status.Code(err); got != step.want {
			s.line.problems.add("a token that ends in an hour, with the server's clock %s ahead: %v; expected %v", step.ahead, err, step.want)
		}
		s.line.Checks++
	}
	return one.stop()
}

// tokenIn finds the token in what `trackerd token issue` printed.
func tokenIn(said string) string {
	for _, word := range strings.Fields(said) {
		if strings.HasPrefix(word, "jl_") {
			return word
		}
	}
	return ""
}
