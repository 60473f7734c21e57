package main

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"jointledger/internal/bench/resident"
)

// mark is how many times as long as the empty program an entry may take: the
// project's own.
const mark = 3

// emptyProgram flushes one small file and does nothing else.
const emptyProgram = `package main

import "os"

func main() {
	f, err := os.Create(os.Args[1])
	if err != nil {
		panic(err)
	}
	if _, err := f.WriteString("one entry of a record, about as long as a tightening is\n"); err != nil {
		panic(err)
	}
	if err := f.Sync(); err != nil {
		panic(err)
	}
}
`

func main() {
	log.SetFlags(0)
	runs := flag.Int("runs", 50, "how many entries are timed")
	demo := flag.String("demo", "testdata/demo", "the `folder` of the demo")
	programs := flag.String("programs", "", "`folder` of trackerd and trackctl; built when not given")
	asJSON := flag.Bool("json", false, "write the medians in milliseconds as JSON")
	flag.Parse()
	if *runs < 3 {
		log.Fatalf("-runs: expected 3 or more, got %d", *runs)
	}
	dir, err := os.MkdirTemp("", "jointledger-entry-")
	if err == nil {
		err = measure(dir, *programs, *demo, *runs, *asJSON)
		err = errors.Join(err, os.RemoveAll(dir))
	}
	if err != nil {
		log.Fatal(err)
	}
}

func measure(dir, programs, demo string, runs int, asJSON bool) error {
	if err := build(dir, programs); err != nil {
		return err
	}
	env, err := carried(dir, demo)
	if err != nil {
		return err
	}
	empty := func() *exec.Cmd { return exec.Command(filepath.Join(dir, "empty"), filepath.Join(dir, "flushed")) }
	bare := func() *exec.Cmd { return exec.Command(filepath.Join(dir, "trackctl"), "version") }
	entry := func() *exec.Cmd {
		cmd := exec.Command(filepath.Join(dir, "trackctl"), "tighten", "J002", "1")
		cmd.Env = env
		return cmd
	}
	// The first of each warms the file cache, and finds that no server answers.
	wholes, durables := make([][]time.Duration, 3), make([][]time.Duration, 3)
	for n := range runs + 1 {
		for i, program := range []func() *exec.Cmd{empty, bare, entry} {
			whole, durable, err := timed(program())
			if err != nil {
				return err
			}
			if n > 0 {
				wholes[i], durables[i] = append(wholes[i], whole), append(durables[i], durable)
			}
		}
	}
	// Others than those that are timed: who looks on takes time.
	most := 0.0
	for range 10 {
		miB, err := resident.Run(entry(), 100*time.Microsecond)
		if err != nil {
			return err
		}
		most = max(most, miB)
	}
	if asJSON {
		return json.NewEncoder(os.Stdout).Encode(map[string]float64{
			"empty": milliseconds(median(wholes[0])), "bare": milliseconds(median(wholes[1])), "durable": milliseconds(median(durables[2])), "whole": milliseconds(median(wholes[2])), "residentMiB": most})
	}
	tell(wholes, durables, runs)
	return nil
}

func milliseconds(d time.Duration) float64 { return float64(d) / float64(time.Millisecond) }

func tell(wholes, durables [][]time.Duration, runs int) {
	limit := median(wholes[0])
	fmt.Printf("medians of %d, in turns\n", runs)
	for _, line := range []struct {
		name string
		took []time.Duration
	}{
		{"empty program, one flush, to its end", wholes[0]},
		{"trackctl, no work, to its end", wholes[1]},
		{"trackctl, entry off-line, until durable", durables[2]},
		{"trackctl, entry off-line, to its end", wholes[2]},
	} {
		m := median(line.took)
		fmt.Printf("%-40s %8.2f ms   %5.2f times the empty program\n", line.name, milliseconds(m), float64(m)/float64(limit))
	}
	fmt.Printf("the mark is %d times until durable\n", mark)
}

func median(v []time.Duration) time.Duration {
	slices.Sort(v)
	return v[len(v)/2]
}

// timed runs a program to its end. It gives the time until then, and the time until
// its first output, which an entry makes once it is durable.
func timed(cmd *exec.Cmd) (whole, durable time.Duration, err error) {
	var said strings.Builder
	cmd.Stderr = &said
	out, err := cmd.StdoutPipe()
	if err != nil {
		return 0, 0, err
	}
	start := time.Now()
	if err := cmd.Start(); err != nil {
		return 0, 0, err
	}
	first := make([]byte, 1)
	_, readErr := out.Read(first)
	durable = time.Since(start)
	_, _ = io.Copy(io.Discard, out) // it ends with the program
	err = cmd.Wait()
	whole = time.Since(start)
	if err != nil {
		return 0, 0, fmt.Errorf("%s: %w: %s", strings.Join(cmd.Args, " "), err, said.String())
	}
	if readErr != nil {
		durable = whole // it says nothing
	}
	return whole, durable, nil
}

// build builds the programs into the folder, as they are shipped and installed, or takes
// those that were built.
func build(dir, programs string) error {
	source, linked := filepath.Join(dir, "empty.go"), filepath.Join(dir, "linked")
	if err := os.WriteFile(source, []byte(emptyProgram), 0o600); err != nil {
		return err
	}
	builds := [][]string{{"build", "-trimpath", "-o", filepath.Join(linked, "empty"), source}}
	from := map[string]string{"empty": linked, "trackerd": programs, "trackctl": programs}
	if programs == "" {
		builds = append(builds, []string{"build", "-trimpath", "-tags", "grpcnotrace", "-o", linked + string(filepath.Separator), "./cmd/trackerd", "./cmd/trackctl"})
		from["trackerd"], from["trackctl"] = linked, linked
	}
	for _, args := range builds {
		cmd := exec.Command("go", args...)
		cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
		if out, err := cmd.CombinedOutput(); err != nil {
			return fmt.Errorf("go %s: %w\n%s", strings.Join(args, " "), err, out)
		}
	}
	// The linker leaves a program in the file cache page by page, and each is mapped by
	// itself at its first use; one that was installed, as a technician's was, lies in
	// larger pieces. This holds for both programs.
	for name, folder := range from {
		program, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			return err
		}
		if err := os.WriteFile(filepath.Join(dir, name), program, 0o700); err != nil {
			return err
		}
	}
	return nil
}

// carried fills a server with the demo, carries a site of it and stops the server.
// It gives the environment in which entries are made then.
func carried(dir, demo string) (env []string, err error) {
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	server := exec.CommandContext(ctx, filepath.Join(dir, "trackerd"), "serve", "--data", filepath.Join(dir, "data"), "--listen", "127.0.0.1:0")
	out, err := server.StdoutPipe()
	if err != nil {
		return nil, err
	}
	if err := server.Start(); err != nil {
		return nil, err
	}
	defer func() {
		cancel()
		_ = server.Wait() // it was killed
	}()
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		return nil, fmt.Errorf("trackerd does not listen: %w", err)
	}
	address := strings.TrimSpace(strings.TrimPrefix(line, "listening on "))
	env = append(os.Environ(), "JOINTLEDGER_SERVER="+address, "JOINTLEDGER_FOLDER="+filepath.Join(dir, "device"), "JOINTLEDGER_PERSON=qlm1")
	for _, args := range [][]string{
		{"import", demo},
		{"carry", "QLM"},
		{"at", "QLM/CT1/C1", "--lot", "SX10-114", "--treatment", "anti-seize"},
	} {
		cmd := exec.Command(filepath.Join(dir, "trackctl"), args...)
		cmd.Env = env
		if out, err := cmd.CombinedOutput(); err != nil {
			return nil, fmt.Errorf("trackctl %s: %w\n%s", strings.Join(args, " "), err, out)
		}
	}
	return env, nil
}
