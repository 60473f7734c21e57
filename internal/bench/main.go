package main

import (
	"context"
	"fmt"
	"log"
	"os"
	"runtime/debug"
	"runtime/pprof"
	"slices"

	"jointledger/internal/garbage"
	"jointledger/internal/pgcluster"
	"jointledger/internal/store"
)

func main() {
	log.SetFlags(log.Ltime)
	if os.Getenv(emptyServerVariable) != "" {
		log.Fatal(emptyServer())
	}
	o, err := readOptions(os.Args[1:])
	if err != nil {
		log.Fatal(err)
	}
	if o.profile != "" {
		f, err := os.Create(o.profile)
		if err == nil {
			err = pprof.StartCPUProfile(f)
		}
		if err != nil {
			log.Fatal(err)
		}
		defer pprof.StopCPUProfile()
	}
	r, err := measure(context.Background(), &o)
	// What was measured before something failed is worth having.
	r.print(os.Stdout)
	if written := r.write(o.jsonFile); err == nil {
		err = written
	}
	if err != nil {
		log.Print(err)
		pprof.StopCPUProfile()
		os.Exit(1)
	}
}

// measure measures all that is asked for.
func measure(ctx context.Context, o *options) (r result, err error) {
	r.Machine = thisMachine()
	// As trackerd does: what is measured in this program is a server like it. Its limit of
	// memory is left out, for here clients, drivers and servers share one heap.
	debug.SetGCPercent(garbage.Percent)
	var cluster *pgcluster.Cluster
	if slices.Contains(o.engines, "postgres") {
		if cluster, err = pgcluster.Start(ctx, pgcluster.Options{Durable: true}); err != nil {
			return r, err
		}
		defer cluster.Stop()
	}
	if err := r.Machine.askEngines(ctx, cluster); err != nil {
		return r, err
	}
	for _, p := range parts {
		if !o.wants(p.name) {
			continue
		}
		for _, e := range enginesOf(o, p.name, cluster) {
			log.Printf("measuring %s on %s", p.name, e.name)
			figures, err := measurePart(ctx, o, p.name, e)
			r.Figures = append(r.Figures, figures...)
			if err != nil {
				return r, fmt.Errorf("%s on %s: %w", p.name, e.name, err)
			}
		}
	}
	r.Machine.LoadAfter = loadNow()
	for _, f := range r.Figures {
		if err := f.sane(); err != nil {
			return r, err
		}
	}
	return r, nil
}

// enginesOf are the engines that a part is measured on.
func enginesOf(o *options, part string, cluster *pgcluster.Cluster) (engines []engine) {
	for _, name := range o.engines {
		if name == "postgres" && (part == "memory" || part == "programs") || name == "sqlite" && part == "partition" {
			continue
		}
		engines = append(engines, engine{name, cluster})
	}
	return engines
}

func measurePart(ctx context.Context, o *options, part string, e engine) ([]figure, error) {
	switch part {
	case "writes":
		return measureWrites(ctx, e, o.span)
	case "questions":
		return measureQuestions(ctx, e, o.attempts)
	case "import":
		return measureImport(ctx, e, o)
	case "programs":
		return measurePrograms(ctx, o)
	case "memory":
		return measureMemory(ctx, o)
	case "rules":
		return measureRules(ctx, e, o.span)
	}
	c, err := e.database(ctx, part)
	if err != nil {
		return nil, err
	}
	defer e.drop(c)
	switch part {
	case "due":
		return measureDue(ctx, e.name, c)
	case "report":
		return measureReport(ctx, e.name, c, o.program("trackctl"))
	case "carry":
		return measureCarry(ctx, e.name, c)
	default:
		return measurePartition(ctx, e.name, c, o.span)
	}
}

// engine is one of the two, and where its databases are made.
type engine struct {
	name    string
	cluster *pgcluster.Cluster
}

// database makes a fresh database.
func (e engine) database(ctx context.Context, name string) (store.Config, error) {
	if e.name == "postgres" {
		return store.Config{DSN: e.cluster.DSN(name)}, createDatabase(ctx, e.cluster.DSN("postgres"), name)
	}
	dir, err := os.MkdirTemp("", "jointledger-bench-")
	if err != nil {
		return store.Config{}, err
	}
	c := store.Config{DataDir: dir}
	_, _, err = store.MigrateUp(ctx, c)
	return c, err
}

// drop removes a database; those of PostgreSQL go with the cluster, but the large ones
// are dropped at once.
func (e engine) drop(c store.Config) {
	if e.name == "postgres" {
		if err := dropDatabase(context.Background(), e.cluster.DSN("postgres"), c.DSN); err != nil {
			log.Printf("the database stays until the end of the run: %v", err)
		}
		return
	}
	os.RemoveAll(c.DataDir)
}

// bytes is how large a database is.
func (e engine) bytes(ctx context.Context, c store.Config) (size int64, err error) {
	if e.name != "postgres" {
		return folderBytes(c.DataDir)
	}
	db, err := rawOpen(e.name, c)
	if err != nil {
		return 0, err
	}
	defer db.Close()
	err = db.QueryRowContext(ctx, "SELECT pg_database_size(current_database())").Scan(&size)
	return size, err
}
