package main

import (
	"context"
	"flag"
	"log"
	"math/rand/v2"
	"os"
	"os/signal"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"
)

// fault is one way of breaking things.
type fault struct {
	name    string
	engines []string
	make    func(context.Context, *rig, *line) error
}

// The engines that a fault can be made on: the embedded one, whose files lie on a disk of
// the server's, and the one that is a server of its own.
var (
	both     = []string{"sqlite", "postgres"}
	embedded = both[:1]
	distant  = both[1:]
)

// faults are all there are, in the order in which they are made.
var faults = []fault{
	{"kill-server", both, killServer},
	{"kill-client", both, killClient},
	{"start-together", both, startTogether},
	{"disk-full", both, diskFull},
	{"read-only", embedded, readOnly},
	{"database-gone", distant, databaseGone},
	{"database-silent", distant, databaseSilent},
	{"clock", both, clock},
	{"network", both, network},
}

func main() {
	log.SetFlags(0)
	if !run() {
		os.Exit(1)
	}
}

func run() (sound bool) {
	var names []string
	for _, f := range faults {
		names = append(names, f.name)
	}
	g := rig{durable: true, say: func(format string, args ...any) { log.Printf(time.Now().Format("15:04:05 ")+format, args...) }}
	wanted := flag.String("fault", strings.Join(names, ","), "which `faults` to make")
	engines := flag.String("engines", strings.Join(both, ","), "which `engines` to break")
	flag.IntVar(&g.kills, "kills", 1000, "how `many` servers, and how many clients, are killed on each engine")
	flag.IntVar(&g.writers, "writers", 64, "how `many` clients write at once")
	flag.IntVar(&g.rounds, "rounds", 10, "how `often` each other fault is made")
	flag.IntVar(&g.entries, "entries", 5000, "how `many` entries wait on a device that sends over a bad network")
	flag.Uint64Var(&g.seed, "seed", 0, "`seed` of all random numbers; drawn unless given")
	flag.StringVar(&g.bin, "bin", "", "`folder` with trackerd and trackctl; they are built unless given")
	jsonFile := flag.String("json", "faults.json", "write what came of it to this `file` too")
	flag.Parse()
	if g.seed == 0 {
		g.seed = rand.Uint64N(1 << 53) // a reader of JSON may hold numbers as floats
	}
	chosen := strings.Split(*wanted, ",")
	for _, name := range chosen {
		if !slices.Contains(names, name) {
			log.Fatalf("-fault: expected some of %s, got %q", strings.Join(names, ","), name)
		}
	}
	g.engines = strings.Split(*engines, ",")
	for _, name := range g.engines {
		if !slices.Contains(both, name) {
			log.Fatalf("-engines: expected sqlite, postgres or both, got %q", name)
		}
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	made, err := newRig(ctx, g)
	if err != nil {
		log.Fatal(err)
	}
	defer made.close()
	log.Printf("seed %d", g.seed)
	lines := made.all(ctx, chosen)
	printTable(os.Stdout, lines)
	if err := writeJSON(*jsonFile, g.seed, lines); err != nil {
		log.Fatal(err)
	}
	return !slices.ContainsFunc(lines, (*line).failed)
}

// all makes the chosen faults, one after the other; the engines of one at the same time,
// since a fault mostly waits.
func (g *rig) all(ctx context.Context, chosen []string) []*line {
	var lines []*line
	for _, f := range faults {
		if !slices.Contains(chosen, f.name) || ctx.Err() != nil {
			continue
		}
		var group sync.WaitGroup
		for _, engine := range f.engines {
			if !slices.Contains(g.engines, engine) {
				continue
			}
			l := &line{Fault: f.name, Engine: engine}
			lines = append(lines, l)
			group.Go(func() { g.one(ctx, f, l) })
		}
		group.Wait()
	}
	return lines
}

// one makes one fault on one engine. What hinders it is a problem like any other.
func (g *rig) one(ctx context.Context, f fault, l *line) {
	began := time.Now()
	if err := f.make(ctx, g, l); err != nil {
		l.problems.add("it could not be made to the end: %v", err)
	}
	l.Seconds = time.Since(began).Seconds()
	l.Problems = l.problems.first
	g.say("%s %s: %d rounds, %d kills, %d acknowledged, %d lost, %d doubled, %d problems", l.Fault, l.Engine, l.Rounds, l.Kills, l.Acknowledged, l.Lost, l.Doubled, len(l.Problems))
}
