package main

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"time"

	pb "jointledger/proto/jointledger/v1"
)

const diskFullSentence = "the database can't be used now (the disk is full); try again"

// diskFull fills the disk of a server under writers, and that of a device. Both must
// refuse plainly and lose nothing, answer questions meanwhile, and go on without a
// restart once there is room.
func diskFull(ctx context.Context, g *rig, l *line) error {
	if l.Engine == "postgres" {
		return databaseFull(ctx, g, l)
	}
	disk, err := g.memoryDisk(ctx, 96)
	if err != nil {
		return err
	}
	defer disk.remove()
	s, err := g.open(ctx, l, 3000, filepath.Join(disk.folder, "data"), 1, launch{})
	if err != nil {
		return err
	}
	defer s.close()
	own, err := g.memoryDisk(ctx, 1)
	if err != nil {
		return err
	}
	defer own.remove()
	d := &device{rig: g, folder: filepath.Join(own.folder, "device"), address: s.servers[0].address}
	if err := d.must(ctx, "carry ASH"); err != nil {
		return err
	}
	c := &smallDevice{device: d, disk: own, line: l, said: map[string]bool{}}
	if err := s.write(g.writers, 3000); err != nil {
		return err
	}
	for range g.rounds {
		l.Rounds++
		if err := s.fullRound(ctx, disk); err != nil {
			return fmt.Errorf("round %d: %w", l.Rounds, err)
		}
		if err := c.fullRound(ctx); err != nil {
			return fmt.Errorf("round %d, device: %w", l.Rounds, err)
		}
	}
	// The writers' check knows their records alone, so the device sends after it.
	if err := s.finish(ctx); err != nil {
		return err
	}
	return c.deliver(ctx, s)
}

// fullRound fills the server's disk until it refuses, looks what it does meanwhile, and
// makes room.
func (s *stage) fullRound(ctx context.Context, disk *smallDisk) error {
	if err := s.load.answers.more(20, s.servers[0].done); err != nil {
		return err
	}
	before := s.load.answers.refusedWith(diskFullSentence)
	if err := disk.fill(int64(s.draw.IntN(512))); err != nil {
		return err
	}
	for deadline := time.Now().Add(patience); s.load.answers.refusedWith(diskFullSentence) < before+20; time.Sleep(5 * time.Millisecond) {
		if err := s.servers[0].stillRuns(); err != nil {
			return err
		}
		if time.Now().After(deadline) {
			return fmt.Errorf("with the disk full, nobody was told so within %s; told was %v", patience, s.load.answers.allRefusals())
		}
	}
	conn, err := dial(s.servers[0].address, "")
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := pb.NewAnalysisServiceClient(conn).QueryRates(ctx, &pb.QueryRatesRequest{}); err != nil {
		s.line.problems.add("a question while the disk is full: %v", err)
	}
	s.line.Checks += 2
	if err := disk.empty(); err != nil {
		return err
	}
	if err := s.load.answers.more(20, s.servers[0].done); err != nil {
		return fmt.Errorf("after room was made: %w", err)
	}
	return nil
}

// smallDevice is a device whose disk is filled, or may not be written.
type smallDevice struct {
	*device
	disk *smallDisk
	line *line
	said map[string]bool
}

// entry makes one off-line, and notes it where it is said to be kept.
func (c *smallDevice) entry(ctx context.Context) told {
	t := c.run(ctx, append(entryOf[:len(entryOf):len(entryOf)], "--offline-only")...)
	if m := saidKept.FindStringSubmatch(t.out); m != nil {
		c.said[m[2]] = true
	}
	return t
}

// fullRound fills the device's disk, makes entries until one is refused, and makes room.
func (c *smallDevice) fullRound(ctx context.Context) error {
	if err := c.disk.fill(8); err != nil {
		return err
	}
	refused := 0
	for n := 0; refused < 2; n++ {
		t := c.entry(ctx)
		switch kept := saidKept.MatchString(t.out); {
		case t.code != 0 && !kept:
			refused++
			c.plain(t, "no space left")
		case t.code != 0 || !kept:
			c.line.problems.add("an entry on a full disk: status %d; %s%s", t.code, t.out, t.err)
		}
		if n > 200 {
			return fmt.Errorf("200 entries found room on a full disk")
		}
	}
	if err := c.disk.empty(); err != nil {
		return err
	}
	if t := c.entry(ctx); t.code != 0 {
		c.line.problems.add("an entry after room was made: status %d; %s%s", t.code, t.out, t.err)
	}
	c.line.Checks++
	return nil
}

// plain looks that a refusal of an entry says what is the matter.
func (c *smallDevice) plain(t told, cause string) {
	c.line.Refused++
	if t.code < 1 || t.code == 70 || !strings.Contains(t.err, cause) || strings.Contains(t.err, "goroutine") {
		c.line.problems.add("an entry that could not be kept: status %d; %s%s; expected a sentence with %q", t.code, t.out, t.err, cause)
	}
}

// deliver starts the server again, sends what the device has, and looks that it arrives
// once.
func (c *smallDevice) deliver(ctx context.Context, s *stage) error {
	if err := s.again(0); err != nil {
		return err
	}
	if err := c.must(ctx, "send --wait"); err != nil {
		return err
	}
	conn, err := dial(c.address, "")
	if err != nil {
		return err
	}
	defer conn.Close()
	found, err := onRecord(ctx, conn)
	if err != nil {
		return err
	}
	for id := range c.said {
		c.line.Acknowledged++
		if n := found["tightenings/"+id]; n != 1 {
			c.line.Lost++
			c.line.problems.add("the entry %s was said to be kept and is on record %d times", id, n)
		}
	}
	c.line.Checks++
	return s.stopAndVerify(ctx)
}
