package main

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"jointledger/internal/bench/resident"
	"jointledger/internal/fleetgen"
	"jointledger/internal/store"
)

// importMark is what the import must reach of the driver's bulk insert: the project's
// own mark.
const importMark = 0.3

// Fleet of the import.
const (
	importSites = 60
	importCrews = 3
)

// measureImport measures trackctl import of records into a fresh server, a process of
// its own, against the driver's bulk insert of the same rows into the same schema. The
// register is there before in both.
func measureImport(ctx context.Context, e engine, o *options) ([]figure, error) {
	client, err := o.needProgram("trackctl")
	if err != nil {
		return nil, err
	}
	folder, err := os.MkdirTemp("", "jointledger-bench-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	now := time.Now().UTC()
	days := o.imported/(importSites*importCrews*20) + 10 // some 23 records a crew and day, all in the past
	first := now.AddDate(0, 0, -days)
	f, err := fleetgen.New(fleetgen.Config{Seed: 4, Sites: importSites, Crews: importCrews, Deliveries: fleetDeliveries, Start: first, Tightenings: o.imported})
	if err != nil {
		return nil, err
	}
	lines, err := writeImport(folder, f, o.imported)
	if err != nil {
		return nil, err
	}
	limit, err := bulkInsert(ctx, e, f, first, o.imported)
	if err != nil {
		return nil, fmt.Errorf("plain driver: %w", err)
	}
	c, err := e.database(ctx, "imported")
	if err != nil {
		return nil, err
	}
	defer e.drop(c)
	if err := importRegister(ctx, e.name, c, f, first); err != nil {
		return nil, err
	}
	whole, clientMiB, serverMiB, err := o.runImport(ctx, client, folder, c)
	if err != nil {
		return nil, err
	}
	size, err := e.bytes(ctx, c)
	if err != nil {
		return nil, err
	}
	each := float64(size) / float64(lines)
	const what = "the driver's bulk insert of the same rows"
	at := float64(lines) / whole.Seconds()
	return []figure{
		{Engine: e.name, What: what, PerSecond: limit},
		figure{Engine: e.name, What: fmt.Sprintf("trackctl import of %s records", grouped(lines)), PerSecond: at}.against(what, limit, at/limit, atLeast(importMark)),
		{Engine: e.name, What: "most resident of the client that imports", Value: clientMiB, Unit: "MiB"},
		{Engine: e.name, What: "most resident of the server that takes it in", Value: serverMiB, Unit: "MiB"},
		figure{Engine: e.name, What: "bytes of the database a record, with its joints", Value: each, Unit: "B"}.
			against("a tightening on the wire", wireBytes(), each/wireBytes(), nil),
	}, nil
}

// importRegister registers the fleet and puts its joints in.
func importRegister(ctx context.Context, engine string, c store.Config, f *fleetgen.Fleet, first time.Time) error {
	// A calibration of the evening before is in force from the first record on.
	if err := withStore(ctx, c, func(s *store.Store) error { return registerFleet(ctx, s, f, allAt(first.Add(-24*time.Hour)), true) }); err != nil {
		return err
	}
	db, err := rawOpen(engine, c)
	if err != nil {
		return err
	}
	defer db.Close()
	l, err := newFleetLoad(ctx, engine, db)
	if err != nil {
		return err
	}
	defer l.close()
	for j := range f.Joints() {
		l.place(j, true)
		if len(l.today) > 100_000 {
			clear(l.today)
		}
	}
	if err := l.end(); err != nil {
		return err
	}
	return gatherStatistics(ctx, engine, db)
}

// bulkInsert gives how many records a second the plain driver inserts.
func bulkInsert(ctx context.Context, e engine, f *fleetgen.Fleet, first time.Time, records int) (perSecond float64, err error) {
	c, err := e.database(ctx, "inserted")
	if err != nil {
		return 0, err
	}
	defer e.drop(c)
	if err := importRegister(ctx, e.name, c, f, first); err != nil {
		return 0, err
	}
	db, err := rawOpen(e.name, c)
	if err != nil {
		return 0, err
	}
	defer db.Close()
	l, err := newFleetLoad(ctx, e.name, db)
	if err != nil {
		return 0, err
	}
	defer l.close()
	l.joints, l.holds = 0, false // the same walk gives the joints the keys that they have
	start := time.Now()
	f.Draw(func(j fleetgen.Joint) bool { l.place(j, false); return true }, func(r fleetgen.Row) bool {
		l.row(r)
		return l.err == nil && l.records < records
	})
	if err := l.end(); err != nil {
		return 0, err
	}
	took := time.Since(start)
	log.Printf("%s: the driver inserted %s records within %.1f s", e.name, grouped(l.records), took.Seconds())
	return float64(l.records) / took.Seconds(), nil
}

// runImport starts a server on a database, imports the folder and gives how long the
// client took, and the most that either had resident.
func (o *options) runImport(ctx context.Context, client, folder string, c store.Config) (took time.Duration, clientMiB, serverMiB float64, err error) {
	own := filepath.Join(folder, "server")
	if err := os.MkdirAll(own, 0o700); err != nil {
		return 0, 0, 0, err
	}
	cmd, err := o.serverCommand(folderOf(c, own), c.DSN)
	if err != nil {
		return 0, 0, 0, err
	}
	p, err := startProcess(ctx, cmd)
	if err != nil {
		return 0, 0, 0, err
	}
	defer p.stop() // it was only measured
	run := exec.CommandContext(ctx, client, "--server", p.address, "import", folder)
	run.Env = append(os.Environ(), "JOINTLEDGER_FOLDER="+filepath.Join(folder, "device"))
	var said bytes.Buffer
	run.Stdout, run.Stderr = &said, &said
	start := time.Now()
	clientMiB, err = resident.Run(run, 20*time.Millisecond)
	took = time.Since(start)
	if err != nil {
		return 0, 0, 0, fmt.Errorf("%s: %w: %s", client, err, &said)
	}
	log.Printf("import took %.1f s: %s", took.Seconds(), strings.Join(strings.Fields(said.String()), " "))
	_, serverMiB, err = p.residentMiB()
	return took, clientMiB, serverMiB, err
}

// folderOf is the folder that a server gets: that of its database, or else another.
func folderOf(c store.Config, other string) string {
	if c.DSN == "" {
		return c.DataDir
	}
	return other
}

// writeImport writes the work of a fleet as files to be imported, and gives how many
// records they hold.
func writeImport(folder string, f *fleetgen.Fleet, records int) (lines int, err error) {
	tightenings, err := newImportFile(folder, "tightenings.csv", "id", "site", "tower", "cell", "joint", "at", "person", "lot", "treatment", "tool", "torque_n_m", "fasteners", "pass", "method")
	if err != nil {
		return 0, err
	}
	defer tightenings.file.Close()
	incidents, err := newImportFile(folder, "incidents.csv", "id", "site", "tower", "cell", "joint", "at", "person", "lot", "treatment", "tool", "kind", "fasteners", "method")
	if err != nil {
		return 0, err
	}
	defer incidents.file.Close()
	for r := range f.Rows() {
		if lines == records {
			break
		}
		lines++
		line := []string{uuid.Must(uuid.NewV7()).String(), r.Site, r.Tower, r.Cell, r.Joint, r.At.Format(time.RFC3339), strings.ToLower(r.Person), r.Lot, treated(r), r.Tool}
		if r.Kind == fleetgen.KindTightening {
			tightenings.write(append(line, strconv.FormatFloat(fleetTorque, 'f', -1, 64), strconv.Itoa(r.Fasteners), r.Pass, r.Method))
		} else {
			incidents.write(append(line, r.Kind, strconv.Itoa(r.Fasteners), r.Method))
		}
	}
	return lines, errors.Join(tightenings.end(), incidents.end())
}

// treated is the treatment that the specification asks for: the crews that left the
// anti-seize out break a rule, and here none is to be broken.
func treated(r fleetgen.Row) string {
	if r.Treatment == fleetgen.TreatmentNone && strings.ContainsAny(r.Lot, "AB") { // of stainless steel
		return fleetgen.TreatmentAntiSeize
	}
	return r.Treatment
}

// importFile is a file to be imported.
type importFile struct {
	file *os.File
	csv  *csv.Writer
}

func newImportFile(folder, name string, columns ...string) (*importFile, error) {
	file, err := os.Create(filepath.Join(folder, name))
	if err != nil {
		return nil, err
	}
	f := &importFile{file, csv.NewWriter(file)}
	f.write(columns)
	return f, nil
}

// write keeps what goes wrong for end.
func (f *importFile) write(line []string) { f.csv.Write(line) } // see end

func (f *importFile) end() error {
	f.csv.Flush()
	return f.csv.Error()
}
