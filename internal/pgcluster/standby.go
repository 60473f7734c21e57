package pgcluster

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// Standby makes and starts a second cluster that follows this one by streaming
// replication and answers questions meanwhile (PostgreSQL documentation, "Log-Shipping
// Standby Servers"). name is what the primary knows it by.
func (c *Cluster) Standby(ctx context.Context, name string) (_ *Cluster, err error) {
	s, err := newCluster(c.opts)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			s.Stop()
		}
	}()
	if err = s.program(ctx, "pg_basebackup", "-h", "127.0.0.1", "-p", strconv.Itoa(c.Port), "-U", "jl", "-D", s.data(), "-X", "stream", "-R", "-c", "fast", "--no-sync"); err != nil {
		return nil, err
	}
	return s, s.serve(ctx, "cluster_name="+name)
}

// Run runs one statement as the superuser.
func (c *Cluster) Run(ctx context.Context, statement string) error {
	return c.program(ctx, "psql", "-h", "127.0.0.1", "-p", strconv.Itoa(c.Port), "-U", "jl", "-d", "postgres", "-X", "-q", "-v", "ON_ERROR_STOP=1", "-c", statement)
}

// Synchronous makes each commit wait until the standby of that name has it on its disk;
// empty for none.
func (c *Cluster) Synchronous(ctx context.Context, standby string) error {
	if err := c.Run(ctx, "ALTER SYSTEM SET synchronous_standby_names = '"+standby+"'"); err != nil {
		return err
	}
	if err := c.Run(ctx, "SELECT pg_reload_conf()"); err != nil {
		return err
	}
	// The first process has read it when a new session has it; it tells the others at
	// that moment, and they look when they are next idle.
	asked := fmt.Sprintf("DO $$ BEGIN IF current_setting('synchronous_standby_names') <> '%s' THEN RAISE EXCEPTION 'not yet'; END IF; END $$", standby)
	for begun := time.Now(); ; time.Sleep(20 * time.Millisecond) {
		err := c.Run(ctx, asked)
		if err == nil {
			time.Sleep(reloadTime)
			return nil
		}
		if time.Since(begun) > 30*time.Second {
			return err
		}
	}
}

// reloadTime is how long sessions may take to read a changed configuration.
const reloadTime = 300 * time.Millisecond

// Promote makes a standby a primary and returns when it takes writes.
func (c *Cluster) Promote(ctx context.Context) error {
	return c.program(ctx, "pg_ctl", "promote", "-D", c.data(), "-w", "-t", "60")
}

// Kill ends the server and all of its processes by SIGKILL, as when the machine's
// power fails. Its folder stays until Stop.
func (c *Cluster) Kill() error {
	pid := c.cmd.Process.Pid
	// The first process is held, so that it starts no others meanwhile.
	if err := syscall.Kill(pid, syscall.SIGSTOP); err != nil {
		return err
	}
	children, err := os.ReadFile(filepath.Join("/proc", strconv.Itoa(pid), "task", strconv.Itoa(pid), "children"))
	if err != nil {
		return err
	}
	for _, field := range strings.Fields(string(children)) {
		if child, err := strconv.Atoi(field); err == nil {
			syscall.Kill(child, syscall.SIGKILL) //nolint:errcheck // it may have ended by itself
		}
	}
	if err := c.cmd.Process.Kill(); err != nil {
		return err
	}
	select {
	case err := <-c.done:
		c.done <- err
		return nil
	case <-time.After(10 * time.Second):
		return fmt.Errorf("the server %d does not end", pid)
	}
}

// Host is the cluster's address, `host:port`.
func (c *Cluster) Host() string { return net.JoinHostPort("127.0.0.1", strconv.Itoa(c.Port)) }

// DSNWith gives the connection string of a database that is on whichever of this
// cluster and the others is the primary.
func (c *Cluster) DSNWith(database string, others ...*Cluster) string {
	hosts := c.Host()
	for _, o := range others {
		hosts += "," + o.Host()
	}
	return "postgres://jl@" + hosts + "/" + database + "?sslmode=disable&target_session_attrs=read-write"
}
