package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// The fleet that records name: two sites, so that two chains grow side by side, each with
// some joints. All of it is invented.
var siteCodes = []string{"ASH", "OAK"}

const jointsOfSite = 12

// joint draws one.
func joint(draw *rand.Rand) (site, name string) {
	site = siteCodes[draw.IntN(len(siteCodes))]
	return site, fmt.Sprintf("sites/%s/towers/CT1/cells/C1/joints/J%d", site, 1+draw.IntN(jointsOfSite))
}

// device is a folder of trackctl with what it needs to be told.
type device struct {
	rig     *rig
	folder  string
	address string
	how     launch
	env     []string
}

// command makes the command of trackctl on the device; it is killed when the context ends.
func (d *device) command(ctx context.Context, args ...string) *exec.Cmd {
	how := d.how
	how.env = append(append([]string{}, d.env...), "JOINTLEDGER_SERVER="+d.address, "JOINTLEDGER_PERSON=ab", "JOINTLEDGER_FOLDER="+d.folder)
	made := d.rig.command(how, "trackctl", args...)
	cmd := exec.CommandContext(ctx, made.Path, made.Args[1:]...)
	cmd.Env, cmd.SysProcAttr = made.Env, made.SysProcAttr
	return cmd
}

// told is what trackctl said, and how it ended.
type told struct {
	out, err string
	code     int // -1 when it was killed
}

// run runs trackctl to its end, or to that of the context.
func (d *device) run(ctx context.Context, args ...string) told {
	cmd := d.command(ctx, args...)
	var out, errOut strings.Builder
	cmd.Stdout, cmd.Stderr = &out, &errOut
	err := cmd.Run()
	t := told{out.String(), errOut.String(), 0}
	switch {
	case cmd.ProcessState == nil:
		t.code, t.err = -2, err.Error()
	case err != nil:
		t.code = cmd.ProcessState.ExitCode()
	}
	return t
}

// must runs trackctl, which must succeed.
func (d *device) must(ctx context.Context, line string) error {
	if t := d.run(ctx, strings.Fields(line)...); t.code != 0 {
		return fmt.Errorf("trackctl %s: status %d; %s%s", line, t.code, t.out, t.err)
	}
	return nil
}

// register makes the fleet on a server.
func (g *rig) register(ctx context.Context, address string, env ...string) error {
	folder, err := g.subfolder("office")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	office := &device{rig: g, folder: filepath.Join(folder, "device"), address: address, env: env}
	lines := []string{
		"site add ASH --name Ashmere --time-zone Europe/Dublin", "site add OAK --name Oakfold --time-zone America/Denver",
		"person add ab --name AB --site ASH --role technician",
		"spec add S1 --thread M10 --material 304 --treatment anti-seize --locking none --torque 32N.m --torque-tolerance-pct 10 --torque-basis lubricated",
		"lot add M10-A --supplier Boltworks --thread M10 --material 304",
	}
	for _, site := range siteCodes {
		lines = append(lines, "tower add "+site+"/CT1 --material 304", "cell add "+site+"/CT1/C1")
		for n := range jointsOfSite {
			lines = append(lines, fmt.Sprintf("joint add %s/CT1/C1/J%d --kind structural --spec S1 --fasteners 12", site, 1+n))
		}
	}
	for _, line := range lines {
		if err := office.must(ctx, line); err != nil {
			return err
		}
	}
	return nil
}
