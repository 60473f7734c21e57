package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"jointledger/internal/pgcluster"
	"jointledger/internal/proof"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// recorded makes a folder with a small record in it.
func recorded(t *testing.T) (dir string) {
	t.Helper()
	dir = storetest.SQLite().NewConfig(t).DataDir
	s, err := store.Open(t.Context(), store.Config{DataDir: dir})
	if err != nil {
		t.Fatal(err)
	}
	storetest.NewFleet().Register(t, s)
	storetest.Record(t, s, storetest.NewTightening(storetest.DenverJoint), storetest.NewTightening(storetest.KolkataJoint))
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return dir
}

// does runs a command that is to succeed, and gives what it said.
func does(t *testing.T, args ...string) string {
	t.Helper()
	code, out, errs := trackerd(t, args...)
	if code != 0 {
		t.Fatalf("%q: exit %d: %s%s", args, code, out, errs)
	}
	return out
}

// refuses runs a command that is to fail with a status and a word.
func refuses(t *testing.T, status int, says string, args ...string) {
	t.Helper()
	code, out, errs := trackerd(t, args...)
	if code != status || !strings.Contains(errs, says) {
		t.Errorf("%q: exit %d, %s%s; expected exit %d and %q", args, code, out, errs, status, says)
	}
}

var linkForm = regexp.MustCompile(`[0-9a-f]{64}`)

func TestBackupAndRestore(t *testing.T) {
	data, base := recorded(t), t.TempDir()
	file, restored := filepath.Join(base, "a backup.db"), filepath.Join(base, "restored")
	serving := holdOpen(t, data)
	out := does(t, "backup", "--data", data, "--to", file)
	links := linkForm.FindAllString(out, -1)
	if len(links) != 2 || !strings.Contains(out, "backed up to "+file) {
		t.Errorf("backup says %s", out)
	}
	refuses(t, 78, "there is a file", "backup", "--data", data, "--to", file)
	refuses(t, 64, "--to", "backup", "--data", data)
	refuses(t, 69, "no such file", "backup", "--data", filepath.Join(base, "none"), "--to", filepath.Join(base, "x"))
	refuses(t, 78, "pg_dump", "backup", "--dsn", "postgres://jl@127.0.0.1:1/none", "--to", filepath.Join(base, "x"))

	again := does(t, "restore", "--from", file, "--data", restored)
	if got := linkForm.FindAllString(again, -1); fmt.Sprint(got) != fmt.Sprint(links) || !strings.Contains(again, "tallies equal a recount") {
		t.Errorf("restore says %s; expected the links %v", again, links)
	}
	if got := linkForm.FindAllString(does(t, "verify", "--data", restored), -1); fmt.Sprint(got) != fmt.Sprint(links) {
		t.Errorf("verify says %v; expected %v", got, links)
	}
	refuses(t, 78, "--replace", "restore", "--from", file, "--data", restored)
	refuses(t, 69, "stop it before you restore", "restore", "--from", file, "--data", data, "--replace")
	refuses(t, 64, "--from", "restore", "--data", restored)
	refuses(t, 78, "say its folder with --data", "restore", "--from", file, "--dsn", "postgres://jl@127.0.0.1:1/none")
	serving()
	if out := does(t, "restore", "--from", file, "--data", data, "--replace"); !strings.Contains(out, "is kept in "+filepath.Join(data, "replaced-")) {
		t.Errorf("restore says %s", out)
	}
	change(t, restored, "UPDATE tightenings SET fasteners = 99")
	tampered := filepath.Join(base, "tampered.db")
	does(t, "backup", "--data", restored, "--to", tampered)
	code, told, errs := trackerd(t, "restore", "--from", tampered, "--data", filepath.Join(base, "other"))
	if code != 1 || !strings.Contains(told, "does not match its link") || !strings.Contains(errs, "nothing was restored") {
		t.Errorf("a backup that was tampered with: exit %d, %s%s", code, told, errs)
	}
}

// holdOpen has the folder open, as a server has.
func holdOpen(t *testing.T, dir string) (end func()) {
	t.Helper()
	s, err := store.Open(t.Context(), store.Config{DataDir: dir})
	if err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	}
}

func TestExport(t *testing.T) {
	data, base := recorded(t), t.TempDir()
	file := filepath.Join(base, "RVB.jsonl")
	out := does(t, "export", storetest.Denver, "--data", data, "--to", file)
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	summary, err := proof.Verify(f)
	if err != nil || summary.Records == 0 || !strings.Contains(out, summary.Head.String()) {
		t.Errorf("%+v, %v; export said %s", summary, err, out)
	}
	if verified := does(t, "verify", "--data", data); !strings.Contains(verified, summary.Head.String()) {
		t.Errorf("verify says %s, the export ends at %s", verified, summary.Head)
	}
	refuses(t, 78, "there is a file", "export", storetest.Denver, "--data", data, "--to", file)
	refuses(t, 78, "is not known", "export", "../RVB", "--data", data, "--to", filepath.Join(base, "x"))
	noRoomForTheExport(t, data, base)
	refuses(t, 64, "name one site", "export", "--data", data, "--to", filepath.Join(base, "x"))
	refuses(t, 64, "--to", "export", storetest.Denver, "--data", data)
	change(t, data, "UPDATE tightenings SET fasteners = 99")
	refuses(t, 1, "is not whole", "export", storetest.Denver, "--data", data, "--to", filepath.Join(base, "x"))
}

// A disk that is full, here a limit of the process, is no fault of the program.
func noRoomForTheExport(t *testing.T, data, base string) {
	t.Helper()
	// A server has made the files beside the database, so that the limit meets the export alone.
	s, err := store.Open(t.Context(), store.Config{DataDir: data})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	c := exec.Command("sh", "-c", `ulimit -f 1; exec "$0" "$@"`, os.Args[0], "export", strings.ToLower(storetest.Denver), "--data", data, "--to", filepath.Join(base, "x"))
	c.Env = append(os.Environ(), asProgram+"=1")
	told, _ := c.CombinedOutput() // its status is looked at
	if code := c.ProcessState.ExitCode(); code != 69 || !strings.Contains(string(told), "x can't be written or read") {
		t.Errorf("no room for the export: status %d, %s", code, told)
	}
	if left, err := filepath.Glob(filepath.Join(base, ".*")); err != nil || len(left) > 0 {
		t.Errorf("it left %v, %v", left, err)
	}
}

// TestMoveAndBackUpPostgres moves a record into PostgreSQL, and backs it up and
// restores it there by the commands of the operator's guide.
func TestMoveAndBackUpPostgres(t *testing.T) {
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Minute)
	defer cancel()
	cluster, err := pgcluster.Start(ctx, pgcluster.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer cluster.Stop()
	bin, err := pgcluster.Binaries()
	if err != nil {
		t.Fatal(err)
	}
	data := recorded(t)
	target, copied := cluster.DSN("postgres"), cluster.DSN("restored")
	refuses(t, 64, "say both", "move", "--data", data)
	refuses(t, 69, "migrate up", "move", "--data", data, "--dsn", target)
	does(t, "migrate", "up", "--dsn", target)
	end := holdOpen(t, data)
	refuses(t, 69, "stop it before you move", "move", "--data", data, "--dsn", target)
	end()
	out := does(t, "move", "--data", data, "--dsn", target)
	links := linkForm.FindAllString(does(t, "verify", "--data", data), -1)
	if len(links) != 2 || !strings.Contains(out, "both sides are the same") || !strings.Contains(out, links[0]) || !strings.Contains(out, links[1]) {
		t.Errorf("move says %s; expected the links %v", out, links)
	}
	if got := linkForm.FindAllString(does(t, "verify", "--dsn", target), -1); fmt.Sprint(got) != fmt.Sprint(links) {
		t.Errorf("verify of PostgreSQL says %v; expected %v", got, links)
	}
	refuses(t, 78, "is not empty", "move", "--data", data, "--dsn", target)

	script, err := os.ReadFile(filepath.Join("testdata", "postgres_backup.sh"))
	if err != nil {
		t.Fatal(err)
	}
	shell := exec.CommandContext(ctx, "sh", "-eu", "-c", `createdb --maintenance-db="$JOINTLEDGER_DSN" restored`+"\n"+string(script))
	shell.Dir = t.TempDir()
	shell.Env = append(os.Environ(), "PATH="+bin+":"+os.Getenv("PATH"), "JOINTLEDGER_DSN="+target, "RESTORED_DSN="+copied)
	if out, err := shell.CombinedOutput(); err != nil {
		t.Fatalf("the commands of the guide: %v\n%s", err, out)
	}
	if got := linkForm.FindAllString(does(t, "verify", "--dsn", copied), -1); fmt.Sprint(got) != fmt.Sprint(links) {
		t.Errorf("verify of what pg_restore made says %v; expected %v", got, links)
	}
}
