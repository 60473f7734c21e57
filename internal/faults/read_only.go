package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"
)

// readOnly takes the disk away under a running server as a disk does that fails: it takes
// nothing more, and what was not flushed is lost. The server must say so, and after the
// disk is mounted again have all that it acknowledged. Then a server is started, and
// entries are made, on a disk that may only be read.
func readOnly(ctx context.Context, g *rig, l *line) error {
	disk, err := g.imageDisk(ctx, 96)
	if err != nil {
		return err
	}
	defer disk.remove()
	s, err := g.open(ctx, l, 4000, filepath.Join(disk.folder, "data"), 1, launch{})
	if err != nil {
		return err
	}
	defer s.close()
	d := &device{rig: g, folder: filepath.Join(disk.folder, "device"), address: s.servers[0].address}
	if err := d.must(ctx, "carry ASH"); err != nil {
		return err
	}
	c := &smallDevice{device: d, disk: disk, line: l, said: map[string]bool{}}
	if err := s.write(g.writers, 4000); err != nil {
		return err
	}
	for range g.rounds {
		l.Rounds++
		if err := s.brokenRound(ctx, disk, c); err != nil {
			return fmt.Errorf("round %d: %w", l.Rounds, err)
		}
	}
	if err := s.finish(ctx); err != nil {
		return err
	}
	return c.deliver(ctx, s)
}

// brokenSentences are what a server may say of a disk that takes nothing more: of a
// commit that was under way it does not know.
var brokenSentences = []string{
	"the database can't be used now (the data folder is read-only); try again",
	"the database can't be used now (the disk reports an error); try again",
	"the database can't be used now (the database file can't be opened); try again",
	lostSentence,
}

const (
	// lostSentence is said of a commit that was under way when the database was lost.
	lostSentence = "the database was lost before it answered, so that it is not known whether this was kept; send it again with the same id, or look before you make it anew"
	// silentSentence is said where there is no database to be had, and hungSentence where
	// a group took longer than it may.
	silentSentence = "the database can't be used now (it does not answer); try again"
	hungSentence   = "the database can't be used now (the database did not finish in time); try again"
)

func (s *stage) brokenRound(ctx context.Context, disk *smallDisk, c *smallDevice) error {
	if t := c.entry(ctx); t.code != 0 {
		s.line.problems.add("an entry on a sound disk: status %d; %s%s", t.code, t.out, t.err)
	}
	if err := s.load.answers.more(20, s.servers[0].done); err != nil {
		return err
	}
	if err := s.stoodStill(func() error { return disk.breakOff(ctx) }); err != nil {
		return err
	}
	if err := s.toldOfDisk(); err != nil {
		return err
	}
	if t := c.entry(ctx); t.code == 0 {
		s.line.problems.add("an entry on a broken disk: status 0; %s", t.out)
	} else {
		s.line.Refused++
	}
	if err := s.servers[0].kill(); err != nil {
		return err
	}
	s.line.Kills++
	if err := disk.mend(ctx); err != nil {
		return err
	}
	if err := s.startReadOnly(ctx, disk, c); err != nil {
		return err
	}
	if err := s.again(0); err != nil {
		return err
	}
	return s.load.answers.more(20, s.servers[0].done)
}

// stoodStill does something while the server stands still, and what it asked of the
// kernel is done: a flush that is under way while ext4 is broken off may be
// acknowledged by the kernel and lost (seen with Linux 6.18 in every fourth try, with a
// program that only writes and flushes).
func (s *stage) stoodStill(work func() error) error {
	one := s.servers[0].cmd.Process
	if err := one.Signal(syscall.SIGSTOP); err != nil {
		return err
	}
	time.Sleep(500 * time.Millisecond)
	err := work()
	return errors.Join(err, one.Signal(syscall.SIGCONT))
}

// toldOfDisk waits until writers are told that the disk is broken.
func (s *stage) toldOfDisk() error {
	count := func() (n int) {
		for _, sentence := range brokenSentences {
			n += s.load.answers.refusedWith(sentence)
		}
		return n
	}
	before := count()
	for deadline := time.Now().Add(patience); count() < before+10; time.Sleep(5 * time.Millisecond) {
		if err := s.servers[0].stillRuns(); err != nil {
			return err
		}
		if time.Now().After(deadline) {
			return fmt.Errorf("with the disk broken, nobody was told so within %s; told was %v", patience, s.load.answers.allRefusals())
		}
	}
	for sentence := range s.load.answers.allRefusals() {
		if !slices.Contains(brokenSentences, sentence) {
			s.line.problems.add("of a broken disk a server said: %s", sentence)
		}
	}
	s.line.Checks += 2
	return nil
}

// startReadOnly starts a server and makes an entry on a disk that may only be read.
func (s *stage) startReadOnly(ctx context.Context, disk *smallDisk, c *smallDevice) error {
	if err := disk.readOnly(ctx, true); err != nil {
		return err
	}
	one, err := s.rig.serve(s.how, s.data, "127.0.0.1:0", s.flags...)
	if err == nil {
		one.end()
	}
	var early *endedEarly
	if !errors.As(err, &early) || early.code != exitNotUsable || !strings.Contains(early.log, "can't be used") {
		s.line.problems.add("serve on a disk that may only be read: %v; expected status %d and the cause", err, exitNotUsable)
	}
	c.plain(c.entry(ctx), "read-only")
	s.line.Checks += 2
	return disk.readOnly(ctx, false)
}
