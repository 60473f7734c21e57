package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	"jointledger/internal/bench/resident"
)

// emptyServerVariable makes this program a server that answers health checks and does
// nothing else: the limit of the start and of the memory of trackerd.
const emptyServerVariable = "JOINTLEDGER_BENCH_EMPTY_SERVER"

func emptyServer() error {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	s := grpc.NewServer()
	healthpb.RegisterHealthServer(s, health.NewServer())
	fmt.Printf("listening on %s\n", l.Addr())
	return s.Serve(l)
}

// program is the path of one of the two programs; empty where it was not built.
func (o *options) program(name string) string {
	path, err := filepath.Abs(filepath.Join(o.programs, name))
	if err != nil {
		return ""
	}
	if _, err := os.Stat(path); err != nil {
		return ""
	}
	return path
}

// needProgram is program for what can't do without.
func (o *options) needProgram(name string) (string, error) {
	if path := o.program(name); path != "" {
		return path, nil
	}
	return "", fmt.Errorf("%s is not in %s; make build leaves it in bin", name, o.programs)
}

// process is a server that runs.
type process struct {
	cmd  *exec.Cmd
	conn *grpc.ClientConn
	// address is where it listens, started how long it took from the start of the
	// process to the first health check that it answered.
	address string
	started time.Duration
}

// serverCommand is trackerd over the embedded database of a folder or, with a connection
// string, over one of PostgreSQL; the folder is then for what else it writes.
func (o *options) serverCommand(folder, dsn string) (*exec.Cmd, error) {
	path, err := o.needProgram("trackerd")
	if err != nil {
		return nil, err
	}
	// One principal may call as often as it can: all clients here are the same one.
	cmd := exec.Command(path, "serve", "--listen", "127.0.0.1:0", "--rate", "0", "--admin-token-file", filepath.Join(folder, "administrator.token"))
	if dsn == "" {
		cmd.Args = append(cmd.Args, "--data", folder)
	} else {
		cmd.Env = append(os.Environ(), "JOINTLEDGER_DSN="+dsn)
	}
	return cmd, nil
}

// emptyCommand is this program as a server that does nothing.
func emptyCommand() (*exec.Cmd, error) {
	self, err := os.Executable()
	if err != nil {
		return nil, err
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), emptyServerVariable+"=1")
	return cmd, nil
}

// startProcess starts a server and waits until it answers a health check.
func startProcess(ctx context.Context, cmd *exec.Cmd) (*process, error) {
	out, err := cmd.StdoutPipe()
	if err != nil {
		return nil, err
	}
	var said strings.Builder
	cmd.Stderr = &said
	start := time.Now()
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	p := &process{cmd: cmd}
	line, err := bufio.NewReader(out).ReadString('\n')
	if err != nil {
		p.cmd.Wait() // what it said tells more
		return nil, fmt.Errorf("%s does not listen: %w: %s", cmd.Path, err, said.String())
	}
	p.address = strings.TrimSpace(strings.TrimPrefix(line, "listening on "))
	if p.conn, err = grpc.NewClient(p.address, grpc.WithTransportCredentials(insecure.NewCredentials())); err == nil {
		_, err = healthpb.NewHealthClient(p.conn).Check(ctx, &healthpb.HealthCheckRequest{}, grpc.WaitForReady(true))
	}
	p.started = time.Since(start)
	if err != nil {
		return nil, errors.Join(err, p.stop())
	}
	return p, nil
}

func (p *process) stop() error {
	if p.conn != nil {
		p.conn.Close()
	}
	if err := p.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		return err
	}
	err := p.cmd.Wait()
	if exit := (*exec.ExitError)(nil); errors.As(err, &exit) {
		return nil // the empty server knows no signal
	}
	return err
}

// residentMiB reads how much memory of the process is resident now, and the most that
// ever was.
func (p *process) residentMiB() (now, most float64, err error) {
	return resident.Of(p.cmd.Process.Pid)
}

// processor is the time that the process has had of the processors, in clock ticks.
func (p *process) processor() (ticks int64, err error) {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", p.cmd.Process.Pid))
	if err != nil {
		return 0, err
	}
	_, after, _ := strings.Cut(string(text), ") ") // the name may hold blanks
	fields := strings.Fields(after)
	if len(fields) < 13 {
		return 0, fmt.Errorf("/proc/%d/stat has %d fields", p.cmd.Process.Pid, len(fields))
	}
	var user, system int64
	if _, err := fmt.Sscan(fields[11]+" "+fields[12], &user, &system); err != nil {
		return 0, err
	}
	return user + system, nil
}

// settle waits until the process has had next to nothing to do for three seconds, for on
// a busy machine it may not have its turn: what it reads ahead is read then.
func (p *process) settle(ctx context.Context) error {
	const idleTicks, idleSeconds = 5, 3
	before, err := p.processor()
	idle := 0
	for err == nil {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(time.Second):
		}
		var now int64
		if now, err = p.processor(); err != nil {
			return err
		}
		if idle++; now-before > idleTicks {
			idle = 0
		}
		if idle == idleSeconds {
			return nil
		}
		before = now
	}
	return err
}
