package pgcluster

import (
	"context"
	"database/sql"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	_ "github.com/jackc/pgx/v5/stdlib"
)

// TestClusterLivesAndDies starts a cluster of each durability, uses it, and looks
// that nothing of it is left afterwards.
func TestClusterLivesAndDies(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		options Options
		fsync   string
	}{"throw-away": {Options{}, "off"}, "durable": {Options{Durable: true}, "on"}} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			ctx := context.Background()
			cluster, err := Start(ctx, c.options)
			if err != nil {
				t.Fatal(err)
			}
			t.Cleanup(cluster.Stop)
			db, err := sql.Open("pgx", cluster.DSN("postgres"))
			if err != nil {
				t.Fatal(err)
			}
			defer db.Close()
			for setting, want := range map[string]string{"fsync": c.fsync, "full_page_writes": c.fsync, "server_encoding": "UTF8", "lc_collate": "C.UTF-8", "listen_addresses": "127.0.0.1"} {
				var got string
				if err := db.QueryRow("SHOW " + setting).Scan(&got); err != nil || got != want {
					t.Errorf("%s is %q, %v; expected %q", setting, got, err, want)
				}
			}
			if _, err := db.Exec("CREATE DATABASE another"); err != nil {
				t.Fatal(err)
			}
			other, err := sql.Open("pgx", cluster.DSN("another"))
			if err != nil {
				t.Fatal(err)
			}
			defer other.Close()
			if err := other.Ping(); err != nil {
				t.Error(err)
			}
			process := cluster.cmd.Process.Pid
			cluster.Stop()
			cluster.Stop() // again: nothing
			if _, err := os.Stat(cluster.dir); !os.IsNotExist(err) {
				t.Errorf("the folder %s is left: %v", cluster.dir, err)
			}
			if _, err := os.Stat("/proc/" + strconv.Itoa(process)); !os.IsNotExist(err) {
				t.Errorf("the server %d is left: %v", process, err)
			}
			if conn, err := net.DialTimeout("tcp", "127.0.0.1:"+strconv.Itoa(cluster.Port), time.Second); err == nil {
				conn.Close()
				t.Errorf("something listens on port %d still", cluster.Port)
			}
		})
	}
}

// TestStartGivesUp starts a cluster for a caller that has gone: it says so and
// leaves nothing behind.
func TestStartGivesUp(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if cluster, err := Start(ctx, Options{Durable: true}); err == nil {
		cluster.Stop()
		t.Fatal("it started all the same")
	}
	if left, err := os.ReadDir(os.Getenv("TMPDIR")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

// TestAbandonedFoldersAreRemoved removes what a killed test left, and nothing that
// lives or is young.
func TestAbandonedFoldersAreRemoved(t *testing.T) {
	t.Parallel()
	base := t.TempDir()
	ended := exec.Command("true")
	if err := ended.Run(); err != nil {
		t.Fatal(err)
	}
	old := time.Now().Add(-2 * time.Hour)
	for name, c := range map[string]struct {
		pid  int
		when time.Time
		left bool
	}{
		"jointledger-pg-dead":    {ended.Process.Pid, old, false},
		"jointledger-pg-unmade":  {0, old, false},
		"jointledger-pg-alive":   {os.Getpid(), old, true},
		"jointledger-pg-young":   {ended.Process.Pid, time.Now(), true},
		"somebody-else's-folder": {ended.Process.Pid, old, true},
	} {
		dir := filepath.Join(base, name)
		if err := os.MkdirAll(filepath.Join(dir, "data"), 0o700); err != nil {
			t.Fatal(err)
		}
		if c.pid != 0 {
			if err := os.WriteFile(filepath.Join(dir, "data", "postmaster.pid"), fmt.Appendf(nil, "%d\n/data\n", c.pid), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		if err := os.Chtimes(dir, c.when, c.when); err != nil {
			t.Fatal(err)
		}
		removeAbandoned(base, time.Hour)
		if _, err := os.Stat(dir); (err == nil) != c.left {
			t.Errorf("%s: %v; expected it to be left: %t", name, err, c.left)
		}
	}
}

// TestBinariesAreTheNewest sorts version 15 after 9 of one server's folders.
func TestBinariesAreTheNewest(t *testing.T) {
	t.Parallel()
	if a, b := majorOf("/usr/lib/postgresql/15/bin/initdb"), majorOf("/usr/lib/postgresql/9.6/bin/initdb"); a != 15 || a <= b {
		t.Errorf("versions %d and %d", a, b)
	}
	dir, err := Binaries()
	if err != nil {
		t.Fatal(err)
	}
	for _, program := range []string{"initdb", "postgres", "pg_isready", "pg_basebackup", "pg_ctl", "psql"} {
		out, err := exec.Command(dir+"/"+program, "--version").CombinedOutput()
		if err != nil || !strings.Contains(string(out), "PostgreSQL") {
			t.Errorf("%s: %v, %s", program, err, out)
		}
	}
}
