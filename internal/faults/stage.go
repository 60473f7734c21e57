package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"time"

	"jointledger/internal/pgcluster"
)

// stage is one database with its servers and its writers, from the empty database to the
// last check.
type stage struct {
	rig     *rig
	data    database
	cluster *pgcluster.Cluster // of PostgreSQL
	servers []*server
	how     launch
	flags   []string // of each server
	token   string   // of the callers, where they are asked for one
	load    *load
	draw    *rand.Rand
	line    *line
}

// open makes the database, starts so many servers on it and registers the fleet. With
// SQLite folder is where it goes; empty for one of the rig's.
func (g *rig) open(ctx context.Context, l *line, part uint64, folder string, servers int, how launch, flags ...string) (_ *stage, err error) {
	s := &stage{rig: g, draw: g.draw(part), line: l, how: how, flags: flags, data: database{folder: folder}}
	defer func() {
		if err != nil {
			s.close()
		}
	}()
	switch {
	case l.Engine == "postgres":
		if err := s.makeCluster(ctx, pgcluster.Options{}); err != nil {
			return nil, err
		}
		s.data = database{dsn: s.cluster.DSN("postgres")}
	case folder == "":
		if s.data.folder, err = g.subfolder("data"); err != nil {
			return nil, err
		}
	}
	return s, s.start(ctx, servers)
}

// makeCluster starts PostgreSQL, as durable as the rig wants it.
func (s *stage) makeCluster(ctx context.Context, o pgcluster.Options) (err error) {
	o.Durable = s.rig.durable
	s.cluster, err = pgcluster.Start(ctx, o)
	return err
}

// migrate makes the tables in PostgreSQL.
func (s *stage) migrate(ctx context.Context) error {
	if code, said := s.rig.trackerd(ctx, s.data, "migrate", "up"); code != 0 {
		return fmt.Errorf("trackerd migrate up: status %d; %s", code, said)
	}
	return nil
}

// start starts so many servers on the stage's database and registers the fleet.
func (s *stage) start(ctx context.Context, servers int) error {
	if s.data.dsn != "" {
		if err := s.migrate(ctx); err != nil {
			return err
		}
	}
	for range servers {
		address, err := freeAddress(s.draw)
		if err != nil {
			return err
		}
		one, err := s.rig.serve(s.how, s.data, address, s.flags...)
		if err != nil {
			return err
		}
		s.servers = append(s.servers, one)
	}
	return s.rig.register(ctx, s.servers[0].address)
}

// write has writers begin.
func (s *stage) write(writers int, part uint64) error {
	return s.writeWith(writers, part, callPatience)
}

// writeWith has writers begin, each of which waits so long for an answer.
func (s *stage) writeWith(writers int, part uint64, patience time.Duration) (err error) {
	var addresses []string
	for _, one := range s.servers {
		addresses = append(addresses, one.address)
	}
	if s.load, err = s.rig.newLoad(writers, part, patience, s.token, addresses...); err != nil {
		return err
	}
	s.load.run()
	return nil
}

// again starts a server anew where it was. Another program of the machine may have its
// port for a moment, and PostgreSQL may be recovering: then it ends at once, and is
// started until it does not.
func (s *stage) again(i int) error {
	for deadline := time.Now().Add(patience); ; time.Sleep(50 * time.Millisecond) {
		one, err := s.rig.serve(s.how, s.data, s.servers[i].address, s.flags...)
		if err == nil {
			s.servers[i] = one
			return nil
		}
		var early *endedEarly
		inTheWay := errors.As(err, &early) && (early.code == exitRefused || s.data.dsn != "" && early.code == exitNotUsable)
		if !inTheWay || time.Now().After(deadline) {
			return err
		}
	}
}

// finish ends the writing, settles what is open and makes all checks.
func (s *stage) finish(ctx context.Context) error {
	s.load.halt()
	if err := s.load.settle(); err != nil {
		return err
	}
	for i, one := range s.servers {
		l := s.line
		if i > 0 {
			l = &line{} // the counts stand once; what is wrong counts
		}
		if err := s.load.answers.checkServer(ctx, one.address, s.token, l); err != nil {
			return err
		}
		if l != s.line {
			s.line.Checks += l.Checks
			s.line.takeOver(&l.problems)
		}
	}
	for _, one := range s.servers {
		if err := one.stop(); err != nil {
			return err
		}
	}
	s.rig.verify(ctx, s.data, s.load.answers, s.line)
	s.line.takeOver(&s.load.answers.problems)
	for _, one := range s.servers {
		one.internalErrors(s.line)
	}
	for _, sentence := range plainRefusals {
		s.line.Refused += s.load.answers.refusedWith(sentence)
	}
	return nil
}

func (s *stage) close() {
	if s.load != nil {
		s.load.close()
	}
	for _, one := range s.servers {
		one.end()
	}
	if s.cluster != nil {
		s.cluster.Stop()
	}
	if s.data.folder != "" && strings.HasPrefix(filepath.Base(s.data.folder), "data-") {
		_ = os.RemoveAll(s.data.folder) // the rig's folder goes at the end
	}
}
