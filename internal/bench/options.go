package main

import (
	"flag"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// options are the flags.
type options struct {
	engines  []string
	parts    []string
	span     time.Duration
	attempts []int
	records  int
	imported int
	entries  int
	programs string
	large    string
	jsonFile string
	profile  string
}

// parts are what can be measured, in this order; those of all are the run that
// docs/speed.md reads.
var parts = []struct {
	name, what string
	ofAll      bool
}{
	{"writes", "acknowledged records against the driver and an empty call", true},
	{"questions", "the standard questions at each of -attempts", true},
	{"import", "trackctl import against the driver's bulk insert", true},
	{"programs", "sizes, start, memory and an entry from the start of the process", true},
	{"memory", "a server with -records records on SQLite", true},
	{"rules", "what the rules and an alarm rule cost", false},
	{"due", "what falls due among 100,000 tools", false},
	{"report", "all analyses of the manager's report", false},
	{"carry", "the data that a device carries of a large site", false},
	{"partition", "PostgreSQL's table of records in one and in partitions", false},
}

// readOptions reads the command line.
func readOptions(args []string) (options, error) {
	var o options
	var names []string
	for _, p := range parts {
		names = append(names, p.name+" ("+p.what+")")
	}
	f := flag.NewFlagSet("bench", flag.ContinueOnError)
	engines := f.String("engines", "sqlite,postgres", "which engines to measure")
	what := f.String("what", "all", "what to measure: all, or one or more of "+strings.Join(names, ", "))
	seconds := f.Float64("seconds", 3, "how long each load runs, in all rounds together")
	attempts := f.String("attempts", "10000,1000000,10000000", "sizes of the fleet that the standard questions are asked of, in fastener attempts")
	f.IntVar(&o.records, "records", 10_000_000, "records in the database of the memory part")
	f.IntVar(&o.imported, "import", 1_000_000, "records to import")
	f.IntVar(&o.entries, "entries", 50, "entries of a client that are timed")
	f.IntVar(&partitionRows, "rows", partitionRows, "with -what partition: how many records the tables are filled with")
	f.StringVar(&o.programs, "programs", "bin", "`folder` with trackerd and trackctl, as make build leaves them")
	f.StringVar(&o.large, "large", "", "`folder` for the database of the memory part, which is kept and used again; without one it is made and removed")
	f.StringVar(&o.jsonFile, "json", "bench.json", "`file` for the figures")
	f.StringVar(&o.profile, "cpuprofile", "", "write a CPU profile of the whole run to this `file`")
	if err := f.Parse(args); err != nil {
		return o, err
	}
	o.span = time.Duration(*seconds * float64(time.Second))
	o.engines, o.parts = strings.Split(*engines, ","), strings.Split(*what, ",")
	for _, size := range strings.Split(*attempts, ",") {
		n, err := strconv.Atoi(size)
		if err != nil || n < 1000 {
			return o, fmt.Errorf("-attempts: expected whole numbers from 1000, parted by commas, got %q", size)
		}
		o.attempts = append(o.attempts, n)
	}
	return o, o.check()
}

func (o *options) check() error {
	for _, name := range o.engines {
		if name != "sqlite" && name != "postgres" {
			return fmt.Errorf("-engines: expected sqlite or postgres, got %q", name)
		}
	}
	var known []string
	for _, p := range parts {
		known = append(known, p.name)
	}
	for _, name := range o.parts {
		if name != "all" && !slices.Contains(known, name) {
			return fmt.Errorf("-what: expected all, %s, got %q", strings.Join(known, ", "), name)
		}
	}
	if o.records < 1000 || o.imported < 1000 || o.entries < 3 || o.span <= 0 {
		return fmt.Errorf("expected -records and -import from 1000, -entries from 3 and -seconds above 0, got %d, %d, %d and %v", o.records, o.imported, o.entries, o.span)
	}
	if !slices.IsSorted(o.attempts) {
		return fmt.Errorf("-attempts: expected the smallest first")
	}
	return nil
}

// wants says whether a part was asked for.
func (o *options) wants(part string) bool {
	for _, p := range parts {
		if p.name == part && p.ofAll && slices.Contains(o.parts, "all") {
			return true
		}
	}
	return slices.Contains(o.parts, part)
}
