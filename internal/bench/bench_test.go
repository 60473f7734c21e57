package main

import (
	"context"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"jointledger/internal/store"
)

// The program of the test stands in for the server that does nothing.
func TestMain(m *testing.M) {
	if os.Getenv(emptyServerVariable) != "" {
		if err := emptyServer(); err != nil {
			os.Exit(1)
		}
	}
	benchJoints = 400
	os.Exit(m.Run())
}

// A tiny run gives every figure of its parts, each with a ratio that can be one; how
// large they are says nothing.
func TestTinyRunGivesEveryFigure(t *testing.T) {
	file := filepath.Join(t.TempDir(), "bench.json")
	o, err := readOptions([]string{"-engines", "sqlite", "-what", "writes,questions,rules", "-seconds", "0.2", "-attempts", "1000,3000", "-json", file})
	if err != nil {
		t.Fatal(err)
	}
	measured, err := measure(context.Background(), &o)
	if err != nil {
		t.Fatal(err)
	}
	if err := measured.write(file); err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var r result
	if err := json.Unmarshal(text, &r); err != nil {
		t.Fatal(err)
	}
	if r.Machine.Cores < 1 || r.Machine.Go == "" || r.Machine.SQLite == "" {
		t.Errorf("the machine is not told: %+v", r.Machine)
	}
	marked := map[string]bool{}
	for _, f := range r.Figures {
		if err := f.sane(); err != nil {
			t.Error(err)
		}
		if (f.Mark != nil) != (f.Reached != nil) {
			t.Errorf("%s has a mark or says whether it is reached, and not both", f.What)
		}
		if f.Mark != nil {
			marked[f.What] = true
		}
	}
	for _, want := range []string{
		"unary, 64 clients, of the slower of driver and empty call", "unary, 1 client, p50", "batches of 100, 1 client, of driver, 100 a commit, the faster form",
		"galling rate by lot, 3,000 attempts", "galling rate by site, 3,000 attempts", "due within 30 days, 3,000 attempts",
	} {
		if !marked[want] {
			t.Errorf("no mark on %q", want)
		}
	}
}

// What is put in for the memory of the server is as much as was asked for, and its sums
// are those of its records.
func TestLargeDatabaseHoldsWhatItShould(t *testing.T) {
	o, err := readOptions([]string{"-records", "2000", "-large", t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	folder, err := o.largeDatabase(ctx)
	if err != nil {
		t.Fatal(err)
	}
	db, err := rawOpen("sqlite", store.Config{DataDir: folder})
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	for _, q := range []struct{ what, count string }{
		{"records", "SELECT COUNT(*) >= 2000 FROM records"},
		{"tallies", "SELECT (SELECT SUM(fasteners) FROM tallies) = (SELECT SUM(fasteners) FROM tightenings WHERE pass = 1) + (SELECT SUM(fasteners) FROM incidents)"},
		{"use of tools", "SELECT (SELECT SUM(fasteners) FROM tool_uses) = (SELECT SUM(fasteners) FROM tightenings)"},
		{"heads of chains", "SELECT NOT EXISTS (SELECT 1 FROM records r JOIN chains c ON c.id = r.site_id WHERE r.id & 1099511627775 > c.sequence)"},
		{"joints", "SELECT NOT EXISTS (SELECT 1 FROM records r LEFT JOIN joints j ON j.id = r.joint_id WHERE r.kind = 1 AND j.id IS NULL)"},
	} {
		var holds bool
		if err := db.QueryRowContext(ctx, q.count).Scan(&holds); err != nil || !holds {
			t.Errorf("%s: %v, %v", q.what, holds, err)
		}
	}
	if again, err := o.largeDatabase(ctx); err != nil || again != folder {
		t.Errorf("a database that was kept is made anew: %s, %v", again, err)
	}
}

func TestOptionsAreChecked(t *testing.T) {
	for _, c := range []struct{ args, names string }{
		{"-engines oracle", "-engines"}, {"-what writing", "-what"}, {"-attempts 10,many", "-attempts"}, {"-attempts 20000,10000", "smallest first"}, {"-seconds 0", "-seconds"},
	} {
		if _, err := readOptions(strings.Fields(c.args)); err == nil || !strings.Contains(err.Error(), c.names) {
			t.Errorf("%s: %v", c.args, err)
		}
	}
	o, err := readOptions(nil)
	if err != nil {
		t.Fatal(err)
	}
	if want := []int{10_000, 1_000_000, 10_000_000}; !slices.Equal(o.attempts, want) || o.records != want[2] || !o.wants("memory") || o.wants("due") {
		t.Errorf("what a run without flags measures is another than the guide says: %+v", o)
	}
}

// A mark is reached on its side of the ratio only.
func TestMarksAreJudged(t *testing.T) {
	for _, c := range []struct {
		ratio float64
		mark  *mark
		want  bool
	}{{0.5, atLeast(0.5), true}, {0.49, atLeast(0.5), false}, {1.5, atMost(1.5), true}, {1.51, atMost(1.5), false}} {
		if f := (figure{}).against("a limit", 1, c.ratio, c.mark); *f.Reached != c.want {
			t.Errorf("%v against %v: %v", c.ratio, c.mark, *f.Reached)
		}
	}
	if f := (figure{}).against("a limit", 1, 2, nil); f.Reached != nil {
		t.Error("without a mark it is said to be reached or not")
	}
}

// Of the rounds the median stands, and of two limits the smaller one in each round.
func TestMedianRatioIsOfRounds(t *testing.T) {
	of := laps{speeds: float64s{10, 20, 30}}
	if got := medianRatio(of, float64s{10, 40, 10}); got != 1 {
		t.Errorf("%v, the median of 1, 0.5 and 3 is 1", got)
	}
	if got := medianRatio(of, float64s{10, 40, 10}, float64s{5, 5, 60}); got != 3 {
		t.Errorf("%v, the median of 2, 4 and 3 is 3", got)
	}
}
