package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"time"
)

// rig is what all faults are made with: the two programs, a folder, and how much of each
// fault is wanted.
type rig struct {
	// bin is where trackerd and trackctl are, folder where databases and devices go.
	bin, folder string
	seed        uint64
	// durable has PostgreSQL flush each commit, as in production.
	durable bool
	// kills is how many servers and how many clients are killed on each engine, writers
	// how many clients write at once, rounds how often each other fault is made, and
	// entries how many entries wait on the device that sends over a bad network.
	kills, writers, rounds, entries int
	engines                         []string
	say                             func(format string, args ...any)
}

// newRig builds the programs, as they are shipped, unless a folder with them is given. close removes what it made.
func newRig(ctx context.Context, g rig) (*rig, error) {
	if runtime.GOOS != "linux" {
		return nil, fmt.Errorf("the faults are made with Linux's own means (mounts, network namespaces, /proc); this is %s", runtime.GOOS)
	}
	folder, err := os.MkdirTemp("", "jointledger-faults-")
	if err != nil {
		return nil, err
	}
	g.folder = folder
	// PostgreSQL, which doesn't run as root, has its data in a folder of it (database_full.go).
	if err := os.Chmod(folder, 0o711); err != nil {
		return nil, errors.Join(err, os.RemoveAll(folder))
	}
	if g.bin != "" {
		return &g, nil
	}
	g.bin = filepath.Join(folder, "bin")
	build := exec.CommandContext(ctx, "go", "build", "-trimpath", "-tags", "grpcnotrace", "-o", g.bin+"/", "jointledger/cmd/trackerd", "jointledger/cmd/trackctl")
	build.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := build.CombinedOutput(); err != nil {
		return nil, errors.Join(fmt.Errorf("the programs can't be built: %w\n%s", err, out), os.RemoveAll(folder))
	}
	return &g, nil
}

func (g *rig) close() { _ = os.RemoveAll(g.folder) } // what is left of it is in the way of nobody

// subfolder makes an empty folder.
func (g *rig) subfolder(what string) (string, error) {
	return os.MkdirTemp(g.folder, what+"-")
}

// draw gives the random numbers of one part of a fault, the same for the same seed.
func (g *rig) draw(part uint64) *rand.Rand { return rand.New(rand.NewPCG(g.seed, part)) }

// between draws a time.
func between(draw *rand.Rand, least, most time.Duration) time.Duration {
	return least + time.Duration(draw.Int64N(int64(most-least)))
}

// givenAddresses are those that freeAddress has given, or found taken.
var givenAddresses sync.Map

// freeAddress finds a port on the loopback interface for a server that is started there
// again and again. It lies below those that Linux gives to clients: a client that tries to
// connect to a port of that range, where nobody listens, is now and then given the same
// port itself, and is connected to itself. None is given twice: the engines run at once and
// draw the same, and while one's server is down its port looks free to the other.
func freeAddress(draw *rand.Rand) (string, error) {
	for range 200 {
		address := net.JoinHostPort("127.0.0.1", strconv.Itoa(15000+draw.IntN(15000)))
		if _, given := givenAddresses.LoadOrStore(address, true); given {
			continue
		}
		if l, err := net.Listen("tcp", address); err == nil {
			return address, l.Close()
		}
	}
	return "", errors.New("there is no free port from 15000 to 30000")
}

// root says what is missing where a fault needs the rights to mount and to make networks.
func root(what string) error {
	if os.Geteuid() != 0 {
		return fmt.Errorf("%s needs root: run `sudo make faults`, or name other faults with -fault", what)
	}
	return nil
}

// tool runs a program of the system to its end.
func tool(ctx context.Context, name string, args ...string) error {
	if out, err := exec.CommandContext(ctx, name, args...).CombinedOutput(); err != nil {
		return fmt.Errorf("%s %q: %w; %s", name, args, err, out)
	}
	return nil
}
