package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"strconv"
	"time"
)

const (
	startRounds = 7
	// entryMark is how many times as long as the empty program with one flush an entry
	// may take until it is durable: the project's own mark.
	entryMark = 3
)

// measurePrograms measures what the two programs are before they have anything to do:
// their sizes, the start of the server, its memory idle and under load, and an entry of
// the client from the start of its process.
func measurePrograms(ctx context.Context, o *options) ([]figure, error) {
	figures, err := programSizes(o)
	if err != nil {
		return nil, err
	}
	starts, err := measureStart(ctx, o)
	figures = append(figures, starts...)
	if err != nil {
		return figures, err
	}
	entry, err := measureEntry(ctx, o)
	return append(figures, entry...), err
}

// programSizes are the sizes of the programs.
func programSizes(o *options) (figures []figure, err error) {
	for _, name := range []string{"trackerd", "trackctl"} {
		path, err := o.needProgram(name)
		if err != nil {
			return nil, err
		}
		info, err := os.Stat(path)
		if err != nil {
			return nil, err
		}
		figures = append(figures, figure{Engine: "-", What: "size of " + name, Value: float64(info.Size()) / (1 << 20), Unit: "MiB"})
	}
	return figures, nil
}

// measureStart measures the start of trackerd to its first answer, on an empty folder and
// on the database that this has made, and what it has resident, all against a server that
// does nothing; the starts take turns.
func measureStart(ctx context.Context, o *options) ([]figure, error) {
	kept, err := os.MkdirTemp("", "jointledger-bench-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(kept)
	fresh := func() (*exec.Cmd, error) {
		if err := os.RemoveAll(kept); err != nil {
			return nil, err
		}
		return o.serverCommand(kept, "")
	}
	again := func() (*exec.Cmd, error) { return o.serverCommand(kept, "") }
	names := []string{"start of a server that does nothing, to its first answer", "start on an empty folder, to the first answer", "start on its database, to the first answer"}
	taken, idle := make([][]time.Duration, len(names)), make([][]float64, len(names))
	for range startRounds {
		for i, command := range []func() (*exec.Cmd, error){emptyCommand, fresh, again} {
			cmd, err := command()
			if err != nil {
				return nil, err
			}
			p, err := startProcess(ctx, cmd)
			if err != nil {
				return nil, err
			}
			now, _, err := p.residentMiB()
			if err := errors.Join(err, p.stop()); err != nil {
				return nil, err
			}
			taken[i], idle[i] = append(taken[i], p.started), append(idle[i], now)
		}
	}
	limit, limitMiB := median(taken[0]), median(idle[0])
	figures := []figure{{Engine: "-", What: names[0], Value: limit.Seconds() * 1000, Unit: "ms"}, {Engine: "-", What: "resident, a server that does nothing", Value: limitMiB, Unit: "MiB"}}
	for i := 1; i < len(names); i++ {
		took := median(taken[i])
		figures = append(figures, figure{Engine: "sqlite", What: names[i], Value: took.Seconds() * 1000, Unit: "ms"}.against(names[0], limit.Seconds()*1000, took.Seconds()/limit.Seconds(), nil))
	}
	at := median(idle[2])
	return append(figures, figure{Engine: "sqlite", What: "resident, idle", Value: at, Unit: "MiB"}.against("a server that does nothing", limitMiB, at/limitMiB, nil)), nil
}

// measureEntry has the command beside this one measure an entry off-line, from the start
// of the process until it is durable, and the client's memory.
func measureEntry(ctx context.Context, o *options) ([]figure, error) {
	cmd := exec.CommandContext(ctx, "go", "run", "./internal/bench/entry", "-json", "-programs", o.programs, "-runs", strconv.Itoa(o.entries))
	cmd.Stderr = os.Stderr
	out, err := cmd.Output()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", cmd, err)
	}
	var took struct{ Empty, Bare, Durable, Whole, ResidentMiB float64 }
	if err := json.Unmarshal(out, &took); err != nil {
		return nil, err
	}
	const limit = "an empty program with one flush, to its end"
	return []figure{
		{Engine: "-", What: limit, Value: took.Empty, Unit: "ms"},
		figure{Engine: "-", What: "trackctl, no work, to its end", Value: took.Bare, Unit: "ms"}.against(limit, took.Empty, took.Bare/took.Empty, nil),
		figure{Engine: "-", What: "trackctl, entry off-line, until durable", Value: took.Durable, Unit: "ms"}.against(limit, took.Empty, took.Durable/took.Empty, atMost(entryMark)),
		figure{Engine: "-", What: "trackctl, entry off-line, to its end", Value: took.Whole, Unit: "ms"}.against(limit, took.Empty, took.Whole/took.Empty, nil),
		{Engine: "-", What: "most resident of trackctl, entry off-line", Value: took.ResidentMiB, Unit: "MiB"},
	}, nil
}
