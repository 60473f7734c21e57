package store_test

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// Names of the environment in which the test binary, run anew, opens a folder
// instead of testing.
const (
	openFolder = "JOINTLEDGER_TEST_OPEN_FOLDER"
	openSite   = "JOINTLEDGER_TEST_OPEN_SITE"
)

// openInstead opens the folder of the environment, registers a site in it, and
// says what became of it; false when the environment names none.
func openInstead() bool {
	dir := os.Getenv(openFolder)
	if dir == "" {
		return false
	}
	s, err := store.Open(context.Background(), store.Config{DataDir: dir})
	if err == nil {
		site := siteKind.fresh(0)
		site.Code = os.Getenv(openSite)
		_, err = s.RegisterSites(context.Background(), []ledger.Site{site}, store.Change{})
		err = errors.Join(err, s.Close())
	}
	var told *ledger.Error
	if errors.As(err, &told) {
		fmt.Printf("kind %d: %s\n", told.Kind, told.Message)
	} else {
		fmt.Println(err)
	}
	return true
}

// openElsewhere runs the test binary anew to open a folder, and gives what it
// said. It runs as nobody in particular where this process is root, to whom no
// folder is read-only.
func openElsewhere(t *testing.T, dir, site string, unprivileged bool) string {
	t.Helper()
	cmd := exec.Command("/proc/self/exe") // which another user could not reach by its path
	cmd.Dir = "/"
	cmd.Env = append(os.Environ(), openFolder+"="+dir, openSite+"="+site)
	if unprivileged && os.Geteuid() == 0 {
		nobody, err := user.Lookup("nobody")
		if err != nil {
			t.Fatal(err)
		}
		uid, _ := strconv.Atoi(nobody.Uid)
		gid, _ := strconv.Atoi(nobody.Gid)
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}}
	}
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Errorf("opening %s elsewhere: %v\n%s", dir, err, out)
	}
	return strings.TrimSpace(string(out))
}

// TestEightProcessesOpenOneFolder starts eight at once on an empty folder: one
// migrates it, all use it.
func TestEightProcessesOpenOneFolder(t *testing.T) {
	t.Parallel()
	dir := filepath.Join(t.TempDir(), "made", "by", "the", "first")
	const processes = 8
	var group sync.WaitGroup
	for i := range processes {
		group.Go(func() {
			if said := openElsewhere(t, dir, fmt.Sprintf("P%d", i), false); said != "<nil>" {
				t.Errorf("process %d: %s", i, said)
			}
		})
	}
	group.Wait()
	s := storetest.Open(t, store.Config{DataDir: dir})
	if sites, _, err := s.Sites(context.Background(), store.SiteFilter{}, store.Page{Size: 100}); err != nil || len(sites) != processes {
		t.Errorf("%d sites, %v; expected one of each of %d processes", len(sites), err, processes)
	}
	soundReport(t, s)
	if backups, _ := filepath.Glob(filepath.Join(dir, "backups", "*")); len(backups) > 0 {
		t.Errorf("backups %v of an empty database", backups)
	}
}

// TestFolderThatMayOnlyBeRead opens an empty folder and one with a database, both
// without leave to write.
func TestFolderThatMayOnlyBeRead(t *testing.T) {
	t.Parallel()
	base, err := os.MkdirTemp("", "jointledger-readonly-") //nolint:usetesting // t.TempDir's is closed to others
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		filepath.WalkDir(base, func(path string, _ os.DirEntry, _ error) error { return os.Chmod(path, 0o700) })
		os.RemoveAll(base)
	})
	made := storetest.SQLite().NewConfig(t).DataDir
	for name, fill := range map[string]func(string) error{
		"empty":    func(string) error { return nil },
		"database": func(dir string) error { return os.CopyFS(dir, os.DirFS(made)) },
	} {
		dir := filepath.Join(base, name)
		if err := os.Mkdir(dir, 0o755); err != nil {
			t.Fatal(err)
		}
		if err := fill(dir); err != nil {
			t.Fatal(err)
		}
		if err := filepath.WalkDir(dir, func(path string, entry os.DirEntry, err error) error {
			if err != nil || entry.IsDir() {
				return err
			}
			return os.Chmod(path, 0o444)
		}); err != nil {
			t.Fatal(err)
		}
		for _, folder := range []string{dir, base} {
			if err := os.Chmod(folder, 0o555); err != nil {
				t.Fatal(err)
			}
		}
		said := openElsewhere(t, dir, "RVB", true)
		if want := fmt.Sprintf("kind %d: the data folder %s can't be used: ", ledger.KindUnavailable, dir); !strings.HasPrefix(said, want) || !strings.Contains(said, "permission denied") {
			t.Errorf("%s: %q; expected it to begin with %q and to say why", name, said, want)
		}
		said = openElsewhere(t, filepath.Join(dir, "below"), "RVB", true)
		if !strings.HasPrefix(said, fmt.Sprintf("kind %d: the data folder %s", ledger.KindUnavailable, dir)) || !strings.Contains(said, "permission denied") {
			t.Errorf("a folder to be made in %s: %q", name, said)
		}
		if err := os.Chmod(base, 0o755); err != nil {
			t.Fatal(err)
		}
	}
}

// TestFolderThatIsNone opens what is no data folder.
func TestFolderThatIsNone(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, []byte("a letter"), 0o600); err != nil {
		t.Fatal(err)
	}
	letter, folder := filepath.Join(dir, "letter"), filepath.Join(dir, "folder")
	for _, made := range []string{letter, filepath.Join(folder, storetest.DatabaseFile)} {
		if err := os.MkdirAll(made, 0o700); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.WriteFile(filepath.Join(letter, storetest.DatabaseFile), []byte(strings.Repeat("no database, but a letter. ", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	for what, c := range map[string]struct{ dir, because string }{
		"a file":                             {file, "not a directory"},
		"below a file":                       {filepath.Join(file, "data"), "not a directory"},
		"a folder with a letter in it":       {letter, "not a database"},
		"a folder in the database's place":   {folder, "unable to open database file"},
		"a name that is too long for a file": {filepath.Join(dir, strings.Repeat("x", 300)), "file name too long"},
	} {
		_, err := store.Open(context.Background(), store.Config{DataDir: c.dir})
		told := wantError(t, err, ledger.KindUnavailable, ledger.ReasonStoreUnavailable, "the data folder "+c.dir, "can't be used", c.because)
		if t.Failed() {
			t.Fatalf("%s: %v", what, told)
		}
	}
	if text, err := os.ReadFile(filepath.Join(letter, storetest.DatabaseFile)); err != nil || !strings.HasPrefix(string(text), "no database") {
		t.Errorf("the letter was overwritten: %.20q, %v", text, err)
	}
	_, err := store.Open(context.Background(), store.Config{})
	wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField, "no data folder")
	_, _, err = store.MigrateUp(context.Background(), store.Config{})
	wantError(t, err, ledger.KindInvalid, ledger.ReasonInvalidField, "no data folder")
}

// TestFolderOfAnyName keeps data in folders whose names mean something in the
// text that the driver is given.
func TestFolderOfAnyName(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"with space", "50%", "what?_pragma=foreign_keys(0)", "#1", "a:b;c", "Kühlturm 塔", "it's", "%41"} {
		dir := filepath.Join(t.TempDir(), name)
		s := storetest.OpenFleet(t, store.Config{DataDir: dir})
		storetest.Record(t, s, oneOfEach()...)
		soundReport(t, s)
		if _, err := os.Stat(filepath.Join(dir, storetest.DatabaseFile)); err != nil {
			t.Errorf("%q: %v", name, err)
		}
	}
}
