// Package pgcluster starts throw-away PostgreSQL clusters, for tests, for
// benchmarks and for writing migrations. It needs the server programs of
// PostgreSQL; their absence is an error, never a reason to skip.
package pgcluster

import (
	"context"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"time"
)

// Cluster is a running PostgreSQL server with a superuser `jl` and no password,
// reachable on the loopback interface alone.
type Cluster struct {
	Port int
	dir  string
	bin  string
	opts Options
	// apart are the folders for data and write-ahead log that Options ask for.
	apart folders
	cmd   *exec.Cmd
	cred  *syscall.Credential
	done  chan error
	stop  sync.Once
}

// Binaries finds the folder of PostgreSQL's server programs, the newest version
// first. Debian keeps them out of PATH.
func Binaries() (string, error) {
	found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	sort.Slice(found, func(i, j int) bool { return majorOf(found[i]) > majorOf(found[j]) })
	if len(found) > 0 {
		return filepath.Dir(found[0]), nil
	}
	if p, err := exec.LookPath("initdb"); err == nil {
		return filepath.Dir(p), nil
	}
	return "", fmt.Errorf("PostgreSQL's server programs are missing; install them (Debian: apt-get install postgresql), or run `make test`, which does")
}

func majorOf(path string) int {
	n, _ := strconv.Atoi(strings.Split(path, "/")[4])
	return n
}

// credential gives the user to run as: initdb refuses to run as root.
func credential() (*syscall.Credential, error) {
	if os.Geteuid() != 0 {
		return nil, nil
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}, nil
	}
	return nil, fmt.Errorf("running as root, and there is neither a user postgres nor nobody to run PostgreSQL as")
}

// Options change how a cluster is made.
type Options struct {
	// Durable keeps fsync on, as in production; otherwise it is off, since a
	// test's cluster outlives no crash.
	Durable bool
	// Data and WriteAheadLog are folders in which those go instead of into the cluster's
	// own, such as file systems that can be filled. Segment is the size of a file of the
	// log in MiB; 0 for PostgreSQL's own, 16.
	Data, WriteAheadLog string
	Segment             int
	// Settings are further ones of the server, each `name=value`.
	Settings []string
}

// Start makes and starts a cluster in a temporary folder. Stop ends it and
// removes the folder.
func Start(ctx context.Context, o Options) (_ *Cluster, err error) {
	c, err := newCluster(o)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			c.Stop()
		}
	}()
	elsewhere, err := c.elsewhere()
	if err != nil {
		return nil, err
	}
	if err = c.program(ctx, "initdb", append([]string{"-D", c.data(), "-U", "jl", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync"}, elsewhere...)...); err != nil {
		return nil, err
	}
	return c, c.serve(ctx)
}

// newCluster makes the folder of a cluster, empty.
func newCluster(o Options) (*Cluster, error) {
	bin, err := Binaries()
	if err != nil {
		return nil, err
	}
	cred, err := credential()
	if err != nil {
		return nil, err
	}
	removeAbandoned(memoryFolder, time.Hour)
	dir, err := os.MkdirTemp(baseFolder(o), folderPrefix)
	if err != nil {
		return nil, err
	}
	if cred != nil {
		if err := os.Chown(dir, int(cred.Uid), int(cred.Gid)); err != nil {
			_ = os.RemoveAll(dir) // the first error counts
			return nil, err
		}
	}
	return &Cluster{dir: dir, bin: bin, opts: o, cred: cred, done: make(chan error, 1)}, nil
}

func (c *Cluster) data() string {
	if c.apart.data != "" {
		return filepath.Join(c.apart.data, "data")
	}
	return filepath.Join(c.dir, "data")
}

// program runs one of PostgreSQL's programs to its end.
func (c *Cluster) program(ctx context.Context, name string, args ...string) error {
	if out, err := c.command(ctx, filepath.Join(c.bin, name), args...).CombinedOutput(); err != nil {
		return fmt.Errorf("%s: %w\n%s", name, err, out)
	}
	return nil
}

// serve starts the server, on the port that it had, and waits until it answers.
func (c *Cluster) serve(ctx context.Context, settings ...string) (err error) {
	if c.Port == 0 {
		if c.Port, err = freePort(); err != nil {
			return err
		}
	}
	onOff := map[bool]string{true: "on", false: "off"}[c.opts.Durable]
	args := []string{"-D", c.data(), "-p", strconv.Itoa(c.Port), "-h", "127.0.0.1", "-k", c.dir}
	for _, setting := range slices.Concat([]string{"fsync=" + onOff, "full_page_writes=" + onOff, "max_connections=200", "logging_collector=off", "log_min_messages=fatal"}, c.opts.Settings, settings) {
		args = append(args, "-c", setting)
	}
	c.cmd = c.command(context.WithoutCancel(ctx), filepath.Join(c.bin, "postgres"), args...)
	logFile, err := os.Create(filepath.Join(c.dir, "log"))
	if err != nil {
		return err
	}
	defer logFile.Close()
	c.cmd.Stdout, c.cmd.Stderr = logFile, logFile
	if err := c.cmd.Start(); err != nil {
		return err
	}
	go func() { c.done <- c.cmd.Wait() }()
	return c.waitReady(ctx, filepath.Join(c.bin, "pg_isready"))
}

// memoryFolder is Linux's file system in memory. A new database is some 300 files,
// which a disk's file system can take ten times as long to make.
const memoryFolder = "/dev/shm"

// baseFolder is where the cluster's folder is made: in memory, for a cluster that
// need not last, where there is room; empty for the usual temporary folder.
func baseFolder(o Options) string {
	const room = 4 << 30
	var fs syscall.Statfs_t
	if o.Durable || syscall.Statfs(memoryFolder, &fs) != nil || fs.Bavail*uint64(fs.Bsize) < room {
		return ""
	}
	return memoryFolder
}

const folderPrefix = "jointledger-pg-"

// removeAbandoned removes the folders of clusters whose test was killed and that
// have been still for so long: what lies in memory is not freed otherwise.
func removeAbandoned(base string, still time.Duration) {
	folders, _ := filepath.Glob(filepath.Join(base, folderPrefix+"*"))
	for _, dir := range folders {
		info, err := os.Stat(dir)
		if err != nil || time.Since(info.ModTime()) < still {
			continue
		}
		text, _ := os.ReadFile(filepath.Join(dir, "data", "postmaster.pid"))
		first, _, _ := strings.Cut(string(text), "\n")
		pid, err := strconv.Atoi(first)
		if err == nil && pid > 0 && syscall.Kill(pid, 0) != syscall.ESRCH {
			continue // it lives, or another has its number
		}
		_ = os.RemoveAll(dir) // the next cluster tries again
	}
}

func (c *Cluster) command(ctx context.Context, name string, args ...string) *exec.Cmd {
	cmd := exec.CommandContext(ctx, name, args...)
	cmd.Dir = c.dir
	// A test binary that is killed must not leave servers behind.
	cmd.SysProcAttr = &syscall.SysProcAttr{Credential: c.cred, Pdeathsig: syscall.SIGQUIT}
	return cmd
}

func (c *Cluster) waitReady(ctx context.Context, isReady string) error {
	for {
		if err := exec.CommandContext(ctx, isReady, "-q", "-h", "127.0.0.1", "-p", strconv.Itoa(c.Port), "-U", "jl").Run(); err == nil {
			return nil
		}
		select {
		case err := <-c.done:
			c.done <- err
			text, _ := os.ReadFile(filepath.Join(c.dir, "log"))
			return fmt.Errorf("postgres ended before it was ready: %v\n%s", err, text) //nolint:errorlint // it is nil when postgres says it ended well
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(50 * time.Millisecond):
		}
	}
}

// DSN gives the connection string of a database of the cluster; `postgres`
// always exists.
func (c *Cluster) DSN(database string) string {
	return fmt.Sprintf("postgres://jl@127.0.0.1:%d/%s?sslmode=disable", c.Port, database)
}

// Stop ends the server at once and removes its folder; a second call does
// nothing.
func (c *Cluster) Stop() { c.stop.Do(c.end) }

func (c *Cluster) end() {
	if c.cmd != nil && c.cmd.Process != nil {
		_ = c.cmd.Process.Signal(syscall.SIGINT) // it may have ended by itself
		select {
		case <-c.done: //nolint:errcheck // how it ended is of no account
		case <-time.After(10 * time.Second):
			_ = c.cmd.Process.Kill() // as above
			<-c.done
		}
	}
	_ = os.RemoveAll(c.dir) // the next cluster tries again
	c.apart.remove()
}

func freePort() (int, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return 0, err
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port, nil
}
