package main

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"log"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"time"
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
	flag.Parse()
	if *runs < 3 {
		log.Fatalf("-runs: expected 3 or more, got %d", *runs)
	}
	dir, err := os.MkdirTemp("", "jointledger-entry-")
	if err == nil {
		err = measure(dir, *demo, *runs)
		err = errors.Join(err, os.RemoveAll(dir))
	}
	if err != nil {
		log.Fatal(err)
	}
}

func measure(dir, demo string, runs int) error {
	if err := build(dir); err != nil {
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
	took := make([][]time.Duration, 3)
	for n := range runs + 1 {
		for i, program := range []func() *exec.Cmd{empty, bare, entry} {
			d, err := timed(program())
			if err != nil {
				return err
			}
			if n > 0 {
				took[i] = append(took[i], d)
			}
		}
	}
	for i := range took {
		slices.Sort(took[i])
	}
	limit := median(took[0])
	fmt.Printf("medians of %d, in turns\n", runs)
	for i, name := range []string{"empty program, one flush", "trackctl, no work", "trackctl, entry off-line"} {
		m := median(took[i])
		fmt.Printf("%-26s %8.2f ms   %5.2f times the empty program\n", name, float64(m)/float64(time.Millisecond), float64(m)/float64(limit))
	}
	fmt.Printf("the mark is %d times\n", mark)
	return nil
}

func median(sorted []time.Duration) time.Duration { return sorted[len(sorted)/2] }

func timed(cmd *exec.Cmd) (time.Duration, error) {
	var said strings.Builder
	cmd.Stderr = &said
	start := time.Now()
	err := cmd.Run()
	took := time.Since(start)
	if err != nil {
		return 0, fmt.Errorf("%s: %w: %s", strings.Join(cmd.Args, " "), err, said.String())
	}
	return took, nil
}

// build builds the programs into the folder, as they are shipped.
func build(dir string) error {
	source := filepath.Join(dir, "empty.go")
	if err := os.WriteFile(source, []byte(emptyProgram), 0o600); err != nil {
		return err
	}
	for _, args := range [][]string{
		{"build", "-trimpath", "-o", dir + string(filepath.Separator), "./cmd/trackerd", "./cmd/trackctl"},
		{"build", "-trimpath", "-o", filepath.Join(dir, "empty"), source},
	} {
		cmd := exec.Command("go", args...)
		cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
		if out, err := cmd.CombinedOutput(); err != nil {
			return fmt.Errorf("go %s: %w\n%s", strings.Join(args, " "), err, out)
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
