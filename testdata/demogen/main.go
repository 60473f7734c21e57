package main

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
)

func main() {
	out := flag.String("out", "testdata/demo", "folder that receives the CSV files")
	from := flag.Uint64("seed", seed, "seed of the draws; the committed scenario is the default one")
	flag.Parse()
	if err := run(*out, *from); err != nil {
		fmt.Fprintln(os.Stderr, "demogen:", err)
		os.Exit(1)
	}
}

// run draws the scenario from a seed and writes its files into the folder dir, which is
// made if it is missing. Files of other names in it are left alone.
func run(dir string, from uint64) error {
	files, err := generate(from)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, f := range files {
		if err := os.WriteFile(filepath.Join(dir, f.name), f.data, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// generate draws the whole scenario from one seed and returns its files in the
// order in which an importer needs them: things before the records that name
// them.
func generate(seed uint64) ([]file, error) {
	w, err := newWorld(seed)
	if err != nil {
		return nil, err
	}
	w.planJoints()
	w.planTools()
	for _, s := range w.sites {
		for crew := 1; crew <= s.crews; crew++ {
			if err := w.runCrew(s, crew); err != nil {
				return nil, err
			}
		}
	}
	w.inspect()
	w.deliver()
	w.describeThings()
	return w.files()
}
