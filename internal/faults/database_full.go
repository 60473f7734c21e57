package main

import (
	"context"
	"errors"
	"fmt"
	"time"

	"jointledger/internal/pgcluster"
	pb "jointledger/proto/jointledger/v1"
)

// PostgreSQL's data and its write-ahead log lie on small disks of their own, since a full
// one does another thing with each: where a table can't grow the statement fails; where
// the log can't, PostgreSQL ends all of its processes and recovers (PostgreSQL
// documentation, "Disk Full Failure"), and ends for good when there is no room for that.
const (
	dataMebibytes = 320
	logMebibytes  = 160
)

// smallLog keeps the log small, and has its room given back and asked for anew, where
// PostgreSQL would otherwise use its old files again and need no more.
var smallLog = []string{"max_wal_size=48MB", "min_wal_size=2MB", "wal_recycle=off", "wal_keep_size=0"}

// fullSentences are what a server may say of a PostgreSQL that has no room. Only where
// it is the disk-full sentence is it said that nothing was kept.
var fullSentences = []string{diskFullSentence, silentSentence, lostSentence, hungSentence, strangersSentence}

// fullDatabase is PostgreSQL on two disks that are filled.
type fullDatabase struct {
	*stage
	data, log *smallDisk
	// restarts is how often PostgreSQL recovered by itself, resumed how often it had ended
	// and was started again.
	restarts, resumed int
}

// databaseFull fills the disks of PostgreSQL under the writers of two servers: that of its
// data, that of its write-ahead log, and both. What was acknowledged must be
// there, each writer be told plainly, and the servers go on without a restart once there
// is room; PostgreSQL itself may have to be started again, as its service manager does.
func databaseFull(ctx context.Context, g *rig, l *line) error {
	f := &fullDatabase{stage: &stage{rig: g, draw: g.draw(3500), line: l}}
	var err error
	if f.data, err = g.memoryDisk(ctx, dataMebibytes); err != nil {
		return err
	}
	defer f.data.remove()
	if f.log, err = g.memoryDisk(ctx, logMebibytes); err != nil {
		return err
	}
	defer f.log.remove()
	defer f.close()
	if err := f.makeCluster(ctx, pgcluster.Options{Data: f.data.folder, WriteAheadLog: f.log.folder, Segment: 1, Settings: smallLog}); err != nil {
		return err
	}
	f.stage.data = database{dsn: f.cluster.DSN("postgres")}
	if err := f.start(ctx, 2); err != nil {
		return err
	}
	if err := f.write(g.writers, 3500); err != nil {
		return err
	}
	for range g.rounds {
		l.Rounds++
		if err := f.round(ctx); err != nil {
			return fmt.Errorf("round %d: %w", l.Rounds, err)
		}
	}
	f.load.answers.onlyThese("a full disk", fullSentences, l)
	l.Note = fmt.Sprintf("PostgreSQL recovered by itself %d times, and was started again %d times; refused were %d calls, each with UNAVAILABLE", f.restarts, f.resumed, f.load.answers.refused())
	return f.finish(ctx)
}

// The ways in which the disks fill up, in turn.
var waysOfFull = []struct {
	data, log bool
	// passing is a log that has room again as soon as PostgreSQL has ended its processes,
	// and while it recovers.
	passing bool
}{{data: true}, {log: true}, {log: true, passing: true}, {data: true, log: true}}

// round fills one disk or both, waits until writers are told, and makes room.
func (f *fullDatabase) round(ctx context.Context) error {
	if err := f.load.answers.more(int64(f.rig.writers), f.servers[0].done); err != nil {
		return err
	}
	way := waysOfFull[(f.line.Rounds-1)%len(waysOfFull)]
	var disks []*smallDisk
	if way.data {
		disks = append(disks, f.data)
	}
	if way.log {
		disks = append(disks, f.log)
	}
	panicked, refused := f.cluster.Panics(), f.load.answers.refused()+20
	for _, d := range disks {
		if err := d.fill(int64(f.draw.IntN(512))); err != nil {
			return err
		}
	}
	if way.passing {
		return f.passes(ctx, panicked)
	}
	if err := f.told(ctx, refused, panicked, way.log && !way.data); err != nil {
		return err
	}
	if err := f.ask(ctx, panicked); err != nil {
		return err
	}
	for _, d := range disks {
		if err := d.empty(); err != nil {
			return err
		}
	}
	return f.goesOn(ctx, panicked)
}

// passes makes room for the log as soon as PostgreSQL has found none: as a rule in time
// for its recovery, for which it needs some. Whether writers are told is not asked: the
// servers may have the database again before they give up.
func (f *fullDatabase) passes(ctx context.Context, panicked int) error {
	made := make(chan error, 1)
	go func() {
		for deadline := time.Now().Add(patience); f.cluster.Panics() == panicked && time.Now().Before(deadline); {
			time.Sleep(time.Millisecond)
		}
		made <- f.log.empty()
	}()
	err := f.told(ctx, 0, panicked, true)
	if err := errors.Join(err, <-made); err != nil {
		return err
	}
	return f.goesOn(ctx, panicked)
}

// told waits until so many calls in all were refused and, where its log is full, PostgreSQL
// has ended its processes.
func (f *fullDatabase) told(ctx context.Context, refused, panicked int, log bool) error {
	for deadline := time.Now().Add(patience); ; time.Sleep(10 * time.Millisecond) {
		if log && f.cluster.Panics() == panicked {
			// Whatever is written next goes into a new file of the log.
			_ = f.cluster.Run(ctx, "SELECT pg_switch_wal()") // it may be the one that finds no room
		}
		for _, one := range f.servers {
			if err := one.stillRuns(); err != nil {
				return err
			}
		}
		if f.load.answers.refused() >= refused && (!log || f.cluster.Panics() > panicked) {
			f.line.Checks++
			return nil
		}
		if time.Now().After(deadline) {
			return fmt.Errorf("with the disk of PostgreSQL full, nobody was told so within %s; told was %v, and it panicked %d times", patience, f.load.answers.allRefusals(), f.cluster.Panics()-panicked)
		}
	}
}

// ask asks a question, which must be answered where PostgreSQL runs on.
func (f *fullDatabase) ask(ctx context.Context, panicked int) error {
	conn, err := dial(f.servers[0].address, "")
	if err != nil {
		return err
	}
	defer conn.Close()
	ctx, cancel := context.WithTimeout(ctx, callPatience)
	defer cancel()
	_, err = pb.NewAnalysisServiceClient(conn).QueryRates(ctx, &pb.QueryRatesRequest{})
	if f.cluster.Panics() > panicked || f.cluster.Ended() {
		return nil // nobody can answer while it recovers
	}
	if err != nil {
		f.line.problems.add("a question while the disk is full: %v", err)
	}
	f.line.Checks++
	return nil
}

// goesOn starts PostgreSQL again where it has ended, and waits until records are kept.
func (f *fullDatabase) goesOn(ctx context.Context, panicked int) error {
	for deadline := time.Now().Add(patience); ; time.Sleep(20 * time.Millisecond) {
		if f.cluster.Ended() {
			f.resumed++
			resume, cancel := context.WithTimeout(ctx, patience)
			err := f.cluster.Resume(resume)
			cancel()
			if err != nil {
				return fmt.Errorf("starting PostgreSQL again: %w", err)
			}
			break
		}
		// It may still be about to end: it has not while it answers.
		if f.cluster.Run(ctx, "SELECT 1") == nil {
			if f.cluster.Panics() > panicked {
				f.restarts++
			}
			break
		}
		if time.Now().After(deadline) {
			return fmt.Errorf("PostgreSQL neither ended nor recovered within %s", patience)
		}
	}
	if err := f.load.answers.more(int64(f.rig.writers), f.servers[0].done); err != nil {
		return fmt.Errorf("after room was made: %w", err)
	}
	return nil
}
