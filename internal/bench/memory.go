package main

import (
	"context"
	"fmt"
	"log"
	"math/rand/v2"
	"os"
	"path/filepath"
	"time"

	"google.golang.org/grpc"

	"jointledger/internal/fleetgen"
	"jointledger/internal/store"
	pb "jointledger/proto/jointledger/v1"
)

// memoryMark is what the server may have resident with all the records: the project's
// own mark.
const memoryMark = 100 // MiB

// Fleet of the memory part.
const (
	memorySites = 200
	memoryCrews = 3
)

// measureMemory measures a real trackerd over a database of so many records: its start,
// and what it has resident once it has read ahead, when it was asked the standard
// questions, and under 64 clients that record. The rows are put in with the plain driver.
func measureMemory(ctx context.Context, o *options) ([]figure, error) {
	folder, err := o.largeDatabase(ctx)
	if err != nil {
		return nil, err
	}
	if o.large == "" {
		defer os.RemoveAll(folder)
	}
	size, err := folderBytes(folder)
	if err != nil {
		return nil, err
	}
	cmd, err := o.serverCommand(folder, "")
	if err != nil {
		return nil, err
	}
	p, err := startProcess(ctx, cmd)
	if err != nil {
		return nil, err
	}
	defer p.stop() // it was only measured
	of := fmt.Sprintf("%s records", grouped(o.records))
	figures := []figure{
		figure{Engine: "sqlite", What: "bytes of the database a record, " + of, Value: float64(size) / float64(o.records), Unit: "B"}.
			against("a tightening on the wire", wireBytes(), float64(size)/float64(o.records)/wireBytes(), nil),
		{Engine: "sqlite", What: "start to the first answer, " + of, Value: p.started.Seconds() * 1000, Unit: "ms"},
	}
	start := time.Now()
	if err := p.settle(ctx); err != nil {
		return nil, err
	}
	log.Printf("sqlite: the server had read ahead after %.0f s", time.Since(start).Seconds())
	resident := func(when string) error {
		now, most, err := p.residentMiB()
		log.Printf("sqlite: %s: %.0f MiB resident, %.0f MiB at the most", when, now, most)
		figures = append(figures, figure{Engine: "sqlite", What: "resident, " + of + ", " + when, Value: now, Unit: "MiB"}.against("100 MiB", memoryMark, now/memoryMark, atMost(1)),
			figure{Engine: "sqlite", What: "most resident, " + of + ", " + when, Value: most, Unit: "MiB"}.against("100 MiB", memoryMark, most/memoryMark, nil))
		return err
	}
	if err := resident("read ahead"); err != nil {
		return figures, err
	}
	if err := askThrice(ctx, standardQuestions(p.conn)); err != nil {
		return figures, err
	}
	if err := resident("the standard questions asked"); err != nil {
		return figures, err
	}
	// Other joints than when the same database was measured before: one does not have
	// hundreds of records.
	first := rand.IntN(1 << 30)
	f, err := withClients(p.address, 64, func(conns []*grpc.ClientConn) (figure, error) {
		return load(ctx, o.span, 64, 1, func(ctx context.Context, client, n int) error {
			return record(ctx, pb.NewAssemblyServiceClient(conns[client]), first+client*7919+n, 1)
		})
	})
	if err != nil {
		return figures, err
	}
	f.Engine, f.What = "sqlite", "unary, 64 clients, beside "+of
	figures = append(figures, f)
	err = resident("64 clients that record")
	return figures, err
}

// largeDatabase gives the folder of the database, which it makes unless it was kept.
func (o *options) largeDatabase(ctx context.Context) (folder string, err error) {
	if folder = o.large; folder == "" {
		if folder, err = os.MkdirTemp("", "jointledger-bench-"); err != nil {
			return "", err
		}
	}
	done := filepath.Join(folder, fmt.Sprintf("filled-%d", o.records))
	if _, err := os.Stat(done); err == nil {
		return folder, nil
	}
	if err := fillLarge(ctx, store.Config{DataDir: folder}, o.records); err != nil {
		return "", err
	}
	return folder, os.WriteFile(done, nil, 0o600)
}

// fillLarge makes a database with so many records of work.
func fillLarge(ctx context.Context, c store.Config, records int) error {
	if _, _, err := store.MigrateUp(ctx, c); err != nil {
		return err
	}
	now := time.Now().UTC()
	// A crew makes a little less than twenty joints a day, with less than two records each.
	days := records/(memorySites*memoryCrews*30) + 30
	f, err := fleetgen.New(fleetgen.Config{Seed: 3, Sites: memorySites, Crews: memoryCrews, Deliveries: fleetDeliveries, Start: now.AddDate(0, 0, -days), Tightenings: records})
	if err != nil {
		return err
	}
	err = withStore(ctx, c, func(s *store.Store) error {
		if err := fixture(ctx, s); err != nil {
			return err
		}
		return registerFleet(ctx, s, f, monthByMonth(now), false)
	})
	if err != nil {
		return err
	}
	db, err := rawOpen("sqlite", c)
	if err != nil {
		return err
	}
	defer db.Close()
	start := time.Now()
	if err := loadFleet(ctx, "sqlite", db, f, records); err != nil {
		return err
	}
	log.Printf("sqlite: %s records were put in within %.0f s", grouped(records), time.Since(start).Seconds())
	_, err = db.ExecContext(ctx, "PRAGMA wal_checkpoint(TRUNCATE)")
	return err
}

// folderBytes adds up the files of a database.
func folderBytes(folder string) (size int64, err error) {
	files, err := filepath.Glob(filepath.Join(folder, "jointledger.db*"))
	for _, file := range files {
		info, err := os.Stat(file)
		if err != nil {
			return 0, err
		}
		size += info.Size()
	}
	return size, err
}

// grouped writes a whole number with its thousands parted.
func grouped(n int) string {
	if n < 1000 {
		return fmt.Sprint(n)
	}
	return fmt.Sprintf("%s,%03d", grouped(n/1000), n%1000)
}
