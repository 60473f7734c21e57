package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"runtime"
	"strings"
	"text/tabwriter"

	"jointledger/internal/pgcluster"
)

// figure is one measurement and the limit it is held against.
type figure struct {
	Engine string `json:"engine"`
	What   string `json:"what"`
	// PerSecond are records, calls or runs a second, where something was repeated.
	PerSecond float64 `json:"per_second,omitempty"`
	P50Micros float64 `json:"p50_microseconds,omitempty"`
	P99Micros float64 `json:"p99_microseconds,omitempty"`
	// Value is anything else, in its Unit.
	Value float64 `json:"value,omitempty"`
	Unit  string  `json:"unit,omitempty"`
	// Limit names what was measured in the same run to hold this against, LimitValue is
	// that in the same unit as what Ratio compares, and Ratio is this over it; 0 for the
	// limits themselves.
	Limit      string  `json:"limit,omitempty"`
	LimitValue float64 `json:"limit_value,omitempty"`
	Ratio      float64 `json:"ratio,omitempty"`
	// Mark is what the ratio must reach, where the project set itself one.
	Mark *mark `json:"mark,omitempty"`
	// Reached says whether it does; nil without a mark.
	Reached *bool `json:"reached,omitempty"`
}

// mark is what a ratio must reach: one of the two is set.
type mark struct {
	AtLeast float64 `json:"at_least,omitempty"`
	AtMost  float64 `json:"at_most,omitempty"`
}

func (m mark) String() string {
	if m.AtLeast > 0 {
		return fmt.Sprintf("≥ %g", m.AtLeast)
	}
	return fmt.Sprintf("≤ %g", m.AtMost)
}

func atLeast(ratio float64) *mark { return &mark{AtLeast: ratio} }
func atMost(ratio float64) *mark  { return &mark{AtMost: ratio} }

// against holds a figure against a limit: value over limit, or, where a median of
// rounds stands for it, the ratio that is given.
func (f figure) against(limit string, value, ratio float64, m *mark) figure {
	f.Limit, f.LimitValue, f.Ratio, f.Mark = limit, value, ratio, m
	if m != nil {
		reached := ratio >= m.AtLeast && (m.AtMost == 0 || ratio <= m.AtMost)
		f.Reached = &reached
	}
	return f
}

// sane says what is wrong with a figure that can't be one.
func (f figure) sane() error {
	for _, v := range []float64{f.PerSecond, f.P50Micros, f.P99Micros, f.Value, f.LimitValue, f.Ratio} {
		if math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
			return fmt.Errorf("%s, %s: %+v is no measurement", f.Engine, f.What, f)
		}
	}
	if f.Limit != "" && f.Ratio == 0 {
		return fmt.Errorf("%s, %s: it was held against %s, and the ratio is nothing", f.Engine, f.What, f.Limit)
	}
	return nil
}

// machine is what of the machine the figures hang on.
type machine struct {
	Cores           int    `json:"cores"`
	OperatingSystem string `json:"operating_system"`
	Architecture    string `json:"architecture"`
	Processor       string `json:"processor,omitempty"`
	MemoryMiB       int64  `json:"memory_mib,omitempty"`
	Go              string `json:"go"`
	SQLite          string `json:"sqlite,omitempty"`
	PostgreSQL      string `json:"postgresql,omitempty"`
	// Load is the machine's mean of runnable processes over the minute before the run
	// and at its end: with more than the cores, the figures say little.
	LoadBefore string `json:"load_before,omitempty"`
	LoadAfter  string `json:"load_after,omitempty"`
}

func thisMachine() machine {
	m := machine{Cores: runtime.NumCPU(), OperatingSystem: runtime.GOOS, Architecture: runtime.GOARCH, Go: runtime.Version(), LoadBefore: loadNow()}
	if text, err := os.ReadFile("/proc/cpuinfo"); err == nil {
		m.Processor = fieldOf(string(text), "model name")
	}
	if text, err := os.ReadFile("/proc/meminfo"); err == nil {
		var kib int64
		if _, err := fmt.Sscan(fieldOf(string(text), "MemTotal"), &kib); err == nil {
			m.MemoryMiB = kib >> 10
		}
	}
	return m
}

// fieldOf gives what follows "name:" in the first line that begins so.
func fieldOf(text, name string) string {
	for line := range strings.Lines(text) {
		if field, value, ok := strings.Cut(line, ":"); ok && strings.TrimSpace(field) == name {
			return strings.TrimSpace(value)
		}
	}
	return ""
}

// loadNow is the load average of the last minute; empty where the system has none.
func loadNow() string {
	text, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return ""
	}
	first, _, _ := strings.Cut(string(text), " ")
	return first
}

// askEngines notes the versions of the engines that are measured.
func (m *machine) askEngines(ctx context.Context, cluster *pgcluster.Cluster) error {
	db, err := rawOpenMemory()
	if err != nil {
		return err
	}
	defer db.Close()
	if err := db.QueryRowContext(ctx, "SELECT sqlite_version()").Scan(&m.SQLite); err != nil || cluster == nil {
		return err
	}
	server, err := rawOpenDSN(cluster.DSN("postgres"))
	if err != nil {
		return err
	}
	defer server.Close()
	return server.QueryRowContext(ctx, "SHOW server_version").Scan(&m.PostgreSQL)
}

// result is what a run leaves in its file.
type result struct {
	Machine machine  `json:"machine"`
	Figures []figure `json:"figures"`
}

func (r result) write(file string) error {
	text, err := json.MarshalIndent(r, "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(file, append(text, '\n'), 0o644)
}

// print writes the table.
func (r result) print(out io.Writer) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "engine\twhat\tfigure\tp50 ms\tp99 ms\tratio\tmark\treached\tto\t")
	for _, f := range r.Figures {
		said, p50, p99, ratio, set, reached := "", "", "", "", "", ""
		switch {
		case f.Unit != "":
			said = short(f.Value) + " " + f.Unit
		case f.PerSecond > 0:
			said = short(f.PerSecond) + " /s"
		}
		if f.P50Micros > 0 {
			p50 = fmt.Sprintf("%.3f", f.P50Micros/1000)
		}
		if f.P99Micros > 0 {
			p99 = fmt.Sprintf("%.3f", f.P99Micros/1000)
		}
		if f.Ratio > 0 {
			ratio = fmt.Sprintf("%.2f", f.Ratio)
		}
		if f.Mark != nil {
			set, reached = f.Mark.String(), "no"
			if *f.Reached {
				reached = "yes"
			}
		}
		fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t\n", f.Engine, f.What, said, p50, p99, ratio, set, reached, f.Limit)
	}
	w.Flush()
}

// short writes a number with three figures or so.
func short(v float64) string {
	if v >= 100 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.3g", v)
}
