package main

import (
	"context"
	"fmt"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"time"
)

// saidKept is how trackctl says that an entry is kept, by the device or by the server.
var saidKept = regexp.MustCompile(`(?m)^kept( on this device)?: .*\(id ([0-9a-f-]{36})\)`)

// devices are the two clients of killClient, and what they said.
type devices struct {
	stage *stage
	// carrying makes entries without the server, remote with it.
	carrying, remote *device
	// usual is how long an entry takes here that nobody kills.
	usual time.Duration

	mu    sync.Mutex
	said  map[string]bool
	mute  int // entries that were killed before they said anything
	kills int
}

// entryOf is an entry of one fastener.
var entryOf = []string{"tighten", "ASH/CT1/C1/J1", "1", "--lot", "M10-A", "--treatment", "anti-seize"}

// killClient ends trackctl by SIGKILL wherever it is: at entries with and without the
// server, and while it sends; and now and then the server besides. What was said to be
// kept must arrive once.
func killClient(ctx context.Context, g *rig, l *line) error {
	s, err := g.open(ctx, l, 1, "", 1, launch{})
	if err != nil {
		return err
	}
	defer s.close()
	d := &devices{stage: s, said: map[string]bool{}}
	if err := d.prepare(ctx); err != nil {
		return err
	}
	for d.kills < g.kills {
		if l.Rounds++; l.Rounds > 20*g.kills+20 {
			return fmt.Errorf("%d kills in %d rounds", d.kills, l.Rounds)
		}
		if err := d.round(ctx); err != nil {
			return err
		}
		if l.Rounds%100 == 0 {
			g.say("%s %s: %d of %d kills, %d said to be kept", l.Fault, l.Engine, d.kills, g.kills, len(d.said))
		}
	}
	l.Kills += d.kills
	return d.finish(ctx)
}

// prepare has one device carry a site, and takes the time of an entry.
func (d *devices) prepare(ctx context.Context) error {
	s := d.stage
	folder, err := s.rig.subfolder("devices")
	if err != nil {
		return err
	}
	address := s.servers[0].address
	d.carrying = &device{rig: s.rig, folder: filepath.Join(folder, "carrying"), address: address}
	d.remote = &device{rig: s.rig, folder: filepath.Join(folder, "remote"), address: address}
	if err := d.carrying.must(ctx, "carry ASH"); err != nil {
		return err
	}
	began := time.Now()
	for range 3 {
		if err := d.entry(ctx, d.carrying, entryOf...); err != nil {
			return err
		}
	}
	d.usual = time.Since(began) / 3
	return nil
}

// entry makes one that nobody kills.
func (d *devices) entry(ctx context.Context, on *device, args ...string) error {
	t := on.run(ctx, args...)
	d.heard(t)
	if t.code != 0 || !saidKept.MatchString(t.out) {
		return fmt.Errorf("an entry that nobody killed: status %d; %s%s", t.code, t.out, t.err)
	}
	return nil
}

// heard notes what an entry said.
func (d *devices) heard(t told) {
	d.mu.Lock()
	defer d.mu.Unlock()
	m := saidKept.FindStringSubmatch(t.out)
	switch {
	case m != nil:
		d.said[m[2]] = true
	default:
		d.mute++
	}
	if t.code == -1 {
		d.kills++
	}
}

// round runs entries and a sending at once, most of which die on the way.
func (d *devices) round(ctx context.Context) error {
	var all sync.WaitGroup
	start := func(on *device, entry bool, args ...string) {
		after := between(d.stage.draw, 0, d.usual*5/4+time.Millisecond)
		all.Go(func() {
			short, cancel := context.WithTimeout(ctx, after)
			defer cancel()
			t := on.run(short, args...)
			if entry {
				d.heard(t)
			} else if t.code == -1 {
				d.mu.Lock()
				d.kills++
				d.mu.Unlock()
			}
		})
	}
	start(d.carrying, true, entryOf...)
	start(d.carrying, true, append(entryOf[:len(entryOf):len(entryOf)], "--offline-only")...)
	start(d.carrying, false, "send")
	start(d.remote, true, entryOf...)
	if d.stage.draw.IntN(20) == 0 {
		time.Sleep(between(d.stage.draw, 0, d.usual))
		err := d.stage.servers[0].kill()
		d.stage.line.Kills++
		all.Wait()
		if err == nil {
			err = d.stage.again(0)
		}
		if err != nil {
			return err
		}
	}
	all.Wait()
	if d.stage.line.Rounds%5 == 0 { // so that something is always said
		return d.entry(ctx, d.carrying, append(entryOf[:len(entryOf):len(entryOf)], "--offline-only")...)
	}
	return nil
}

// finish sends what waits and looks that what was said to be kept is on record once.
func (d *devices) finish(ctx context.Context) error {
	s := d.stage
	if err := d.carrying.must(ctx, "send --wait"); err != nil {
		return err
	}
	if t := d.carrying.run(ctx, "pending"); !strings.Contains(t.out, "nothing waits on this device") {
		s.line.problems.add("after everything was sent, trackctl pending says %s%s", t.out, t.err)
	}
	if found, err := filepath.Glob(filepath.Join(d.carrying.folder, "outbox", "damaged-*")); err != nil || len(found) > 0 {
		s.line.problems.add("set aside as damaged: %v, %v", found, err)
	}
	s.line.Checks += 2
	s.line.Unknown += d.mute
	if err := s.arrived(ctx, d.said); err != nil {
		return err
	}
	return s.stopAndVerify(ctx)
}

// arrived holds what is on record against the ids that were said to be kept.
func (s *stage) arrived(ctx context.Context, said map[string]bool) error {
	conn, err := dial(s.servers[0].address, "")
	if err != nil {
		return err
	}
	defer conn.Close()
	found, err := onRecord(ctx, conn)
	if err != nil {
		return err
	}
	for id := range said {
		s.line.Acknowledged++
		if found["tightenings/"+id] == 0 {
			s.line.Lost++
			s.line.problems.add("the entry %s was said to be kept, and did not arrive", id)
		}
	}
	for name, n := range found {
		if n != 1 {
			s.line.Doubled++
			s.line.problems.add("%s is on record %d times", name, n)
		}
	}
	s.line.Kept += max(0, len(found)-len(said))
	s.line.Checks++
	return nil
}

// stopAndVerify ends the servers and checks the database.
func (s *stage) stopAndVerify(ctx context.Context) error {
	for _, one := range s.servers {
		if err := one.stop(); err != nil {
			return err
		}
	}
	s.rig.verify(ctx, s.data, newAnswers(), s.line)
	return nil
}
