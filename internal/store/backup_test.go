package store_test

import (
	"bytes"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/uuid"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// filled makes an embedded database with records of every kind and a large
// attachment, and closes it.
func filled(t *testing.T) (c store.Config, attached store.Attachment) {
	t.Helper()
	c = storetest.SQLite().NewConfig(t)
	s := opened(t, c)
	storetest.NewFleet().Register(t, s)
	everyKind(t, s)
	r := storetest.NewTightening(storetest.KolkataJoint)
	storetest.Record(t, s, r)
	d := &diary{t, s, storetest.Occurred}
	attached = d.attach(r, "photo.png", photo(600<<10))
	closed(t, s)
	return c, attached
}

func opened(t *testing.T, c store.Config) *store.Store {
	t.Helper()
	s, err := store.Open(context.Background(), c)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func closed(t *testing.T, s *store.Store) {
	t.Helper()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

// told makes sure that an error is of a kind and says something.
func told(t *testing.T, what string, err error, kind ledger.Kind, says string) {
	t.Helper()
	var e *ledger.Error
	if !errors.As(err, &e) || e.Kind != kind || !strings.Contains(e.Message+fmt.Sprint(e.Cause), says) {
		t.Errorf("%s: %v; expected an error of kind %d that says %q", what, err, kind, says)
	}
}

func heads(r store.Report) map[string]string {
	all := map[string]string{}
	for _, s := range r.Sites {
		all[s.Site] = fmt.Sprint(s.Records, " ", s.Head)
	}
	return all
}

func ends(b store.Backup) map[string]string {
	all := map[string]string{}
	for _, c := range b.Chains {
		all[c.Site] = fmt.Sprint(c.Records, " ", c.Link)
	}
	return all
}

// TestBackupUnderWriters backs up while sixteen write, and restores what was written:
// everything that was acknowledged before the backup began is there.
func TestBackupUnderWriters(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	c := storetest.SQLite().NewConfig(t)
	s := storetest.OpenFleet(t, c)
	var mutex sync.Mutex
	var acknowledged []uuid.UUID
	stop := make(chan struct{})
	var writers sync.WaitGroup
	for i := range 16 {
		writers.Go(func() {
			joint := []string{storetest.DenverJoint, storetest.KolkataJoint}[i%2]
			for {
				select {
				case <-stop:
					return
				default:
				}
				r := storetest.NewTightening(joint)
				outcomes, err := s.Record(ctx, []ledger.Record{r}, store.Change{})
				if err != nil || outcomes[0].State != store.Taken {
					t.Errorf("writer %d: %v, %v", i, outcomes, err)
					return
				}
				mutex.Lock()
				acknowledged = append(acknowledged, r.ID)
				mutex.Unlock()
			}
		})
	}
	known := func() []uuid.UUID {
		mutex.Lock()
		defer mutex.Unlock()
		return append([]uuid.UUID{}, acknowledged...)
	}
	for round := range 3 {
		for len(known()) < 40*(round+1) && !t.Failed() {
			time.Sleep(time.Millisecond)
		}
		before := known()
		path := filepath.Join(t.TempDir(), "a backup #1?.db")
		b, err := store.BackUp(ctx, c, path)
		if err != nil {
			t.Fatal(err)
		}
		dir := filepath.Join(t.TempDir(), "restored")
		restored, err := store.Restore(ctx, store.Config{DataDir: dir, Logger: storetest.Logger(t)}, path, false)
		if err != nil || !restored.Report.OK() {
			t.Fatalf("%v, %+v", err, restored)
		}
		if diff := cmp.Diff(ends(b), heads(restored.Report)); diff != "" {
			t.Errorf("chains (-backed up +restored):\n%s", diff)
		}
		again := storetest.Open(t, store.Config{DataDir: dir, Logger: storetest.Logger(t)})
		for _, id := range before {
			if _, err := again.FindRecord(ctx, ledger.KindTightening, id); err != nil {
				t.Fatalf("record %s was acknowledged before the backup began: %v", id, err)
			}
		}
	}
	close(stop)
	writers.Wait()
	soundReport(t, s)
}

func TestBackupHoldsEverything(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	c, attached := filled(t)
	path := filepath.Join(t.TempDir(), "b.db")
	b, err := store.BackUp(ctx, c, path)
	if err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil || info.Size() != b.Bytes || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v; expected %d bytes that only the owner reads", info, err, b.Bytes)
	}
	only(t, filepath.Dir(path), "b.db")
	restored := store.Config{DataDir: t.TempDir(), Logger: storetest.Logger(t)}
	if _, err := store.Restore(ctx, restored, path, false); err != nil {
		t.Fatal(err)
	}
	only(t, restored.DataDir, storetest.DatabaseFile, "migrate.lock", "serve.lock")
	tables := tablesOf(t, storetest.SQLite(), storetest.Raw(t, c))
	if diff := cmp.Diff(rowCounts(t, storetest.Raw(t, c), tables), rowCounts(t, storetest.Raw(t, restored), tables)); diff != "" {
		t.Errorf("rows (-before +restored):\n%s", diff)
	}
	d := &diary{t, storetest.Open(t, restored), storetest.Occurred}
	if content, _ := d.content(attached.SHA256); !bytes.Equal(content, photo(600<<10)) {
		t.Errorf("the attachment came back with %d bytes", len(content))
	}
	storetest.Record(t, d.s, storetest.NewTightening(storetest.KolkataJoint))
	soundReport(t, d.s)
}

// only makes sure that a folder has these names and no other.
func only(t *testing.T, dir string, names ...string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	var found []string
	for _, e := range entries {
		found = append(found, e.Name())
	}
	if diff := cmp.Diff(names, found); diff != "" {
		t.Errorf("files in %s (-want +got):\n%s", dir, diff)
	}
}

func TestBackupsThatAreRefused(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	c := storetest.SQLite().NewConfig(t)
	dir := t.TempDir()
	taken := filepath.Join(dir, "taken")
	if err := os.WriteFile(taken, []byte("a letter"), 0o600); err != nil {
		t.Fatal(err)
	}
	back := func(ctx context.Context, c store.Config, path string) error {
		_, err := store.BackUp(ctx, c, path)
		return err
	}
	told(t, "over a file", back(ctx, c, taken), ledger.KindExists, "there is a file")
	told(t, "into no folder", back(ctx, c, filepath.Join(dir, "none", "b.db")), ledger.KindUnavailable, "no such file")
	told(t, "of no folder", back(ctx, store.Config{DataDir: filepath.Join(dir, "none")}, filepath.Join(dir, "b.db")), ledger.KindUnavailable, "no such file")
	told(t, "of PostgreSQL", back(ctx, store.Config{DSN: "postgres://jl@127.0.0.1:1/none"}, filepath.Join(dir, "b.db")), ledger.KindInvalid, "pg_dump")
	ended, end := context.WithCancel(ctx)
	end()
	if err := back(ended, c, filepath.Join(dir, "b.db")); !errors.Is(err, context.Canceled) {
		t.Errorf("ended: %v", err)
	}
	only(t, dir, "taken")
	if text, _ := os.ReadFile(taken); string(text) != "a letter" {
		t.Errorf("the file that was there is now %q", text)
	}
}

// backUpVariable names the environment of a process that backs up a folder until it
// is killed.
const backUpVariable = "JOINTLEDGER_TEST_BACK_UP"

// backUpInstead makes the test binary back up: FOLDER=FILE.
func backUpInstead() bool {
	from, to, ok := strings.Cut(os.Getenv(backUpVariable), "=")
	if ok {
		_, err := store.BackUp(context.Background(), store.Config{DataDir: from}, to)
		fmt.Println(err)
	}
	return ok
}

// TestAKilledBackupIsNone kills a process that backs up, again and again, each time a
// little later: a file of the backup's name is whole.
func TestAKilledBackupIsNone(t *testing.T) {
	t.Parallel()
	c, _ := filled(t)
	wholes := 0
	for i := range 12 {
		dir := t.TempDir()
		path := filepath.Join(dir, "b.db")
		cmd := exec.Command("/proc/self/exe")
		cmd.Env = append(os.Environ(), backUpVariable+"="+c.DataDir+"="+path)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if i < 11 { // until the file is there under its first name, and then some
			for begun := time.Now(); time.Since(begun) < 20*time.Second; time.Sleep(100 * time.Microsecond) {
				if found, _ := filepath.Glob(filepath.Join(dir, ".*")); len(found) > 0 {
					break
				}
			}
			time.Sleep(time.Duration(i*i) * 300 * time.Microsecond)
			cmd.Process.Kill() // it may have ended
		}
		cmd.Wait() // it was killed
		if _, err := os.Stat(path); err != nil {
			continue
		}
		wholes++
		restored := store.Config{DataDir: t.TempDir(), Logger: storetest.Logger(t)}
		if _, err := store.Restore(context.Background(), restored, path, false); err != nil {
			t.Errorf("kill %d: there is a backup, and it is not whole: %v", i, err)
		}
	}
	if wholes == 0 {
		t.Error("not even the one that was not killed is there")
	}
	t.Logf("%d of 12 were done before they were killed", wholes)
}

func backedUp(t *testing.T, c store.Config) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "b.db")
	if _, err := store.BackUp(context.Background(), c, path); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestBackupsThatAreNotRestored restores what is damaged, tampered with or no backup;
// nothing of it stays in the folder.
func TestBackupsThatAreNotRestored(t *testing.T) {
	t.Parallel()
	c, _ := filled(t)
	whole, err := os.ReadFile(backedUp(t, c))
	if err != nil {
		t.Fatal(err)
	}
	changed := func(statements string) func(*testing.T, string) {
		return func(t *testing.T, path string) {
			db, err := sql.Open("sqlite", path)
			if err != nil {
				t.Fatal(err)
			}
			defer db.Close()
			mustExec(t, db, statements)
			mustExec(t, db, "PRAGMA wal_checkpoint(TRUNCATE)")
		}
	}
	for name, tc := range map[string]struct {
		spoil func(t *testing.T, path string)
		kind  ledger.Kind
		says  string
	}{
		"cut": {func(t *testing.T, path string) { truncate(t, path, int64(len(whole))/2) }, ledger.KindUnavailable, ""},
		"overwritten": {func(t *testing.T, path string) {
			spoiled := bytes.Clone(whole)
			copy(spoiled[len(whole)/2:], bytes.Repeat([]byte("x"), 64<<10))
			writeFile(t, path, spoiled)
		}, ledger.KindUnavailable, ""},
		"a letter":       {func(t *testing.T, path string) { writeFile(t, path, []byte(strings.Repeat("a letter. ", 1000))) }, ledger.KindUnavailable, "not a database"},
		"nothing":        {func(t *testing.T, path string) { writeFile(t, path, nil) }, ledger.KindUnavailable, "no record of this program"},
		"absent":         {func(t *testing.T, path string) { os.Remove(path) }, ledger.KindUnavailable, "no such file"},
		"with a log":     {func(t *testing.T, path string) { writeFile(t, path+"-wal", []byte("log")) }, ledger.KindUnavailable, "make a backup with `trackerd backup`"},
		"newer":          {changed("UPDATE schema_migrations SET version = 9999"), ledger.KindUnavailable, "use a newer trackerd"},
		"half migrated":  {changed("UPDATE schema_migrations SET dirty = 1"), ledger.KindUnavailable, "half-way"},
		"a record":       {changed("DROP TRIGGER tightenings_never_update; UPDATE tightenings SET fasteners = 9 WHERE id = (SELECT max(id) FROM tightenings)"), ledger.KindPrecondition, "does not verify"},
		"a tally":        {changed("UPDATE tallies SET fasteners = fasteners + 1"), ledger.KindPrecondition, "does not verify"},
		"loose":          {changed("PRAGMA foreign_keys = OFF; DELETE FROM towers"), ledger.KindUnavailable, "foreign_key_check"},
		"another record": {changed("DROP TABLE schema_migrations"), ledger.KindUnavailable, "no record of this program"},
	} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "b.db")
			writeFile(t, path, whole)
			tc.spoil(t, path)
			dir := filepath.Join(t.TempDir(), "restored")
			_, err := store.Restore(context.Background(), store.Config{DataDir: dir, Logger: storetest.Logger(t)}, path, false)
			told(t, name, err, tc.kind, tc.says)
			if left, _ := filepath.Glob(filepath.Join(dir, "*")); len(left) > 0 {
				for _, l := range left {
					if filepath.Ext(l) != ".lock" {
						t.Errorf("%s is left", l)
					}
				}
			}
		})
	}
}

func writeFile(t *testing.T, path string, content []byte) {
	t.Helper()
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
}

func truncate(t *testing.T, path string, size int64) {
	t.Helper()
	if err := os.Truncate(path, size); err != nil {
		t.Fatal(err)
	}
}

func TestFoldersThatAreNotRestoredInto(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	c := storetest.SQLite().NewConfig(t)
	path := backedUp(t, c)
	restore := func(dir string, replace bool) error {
		_, err := store.Restore(ctx, store.Config{DataDir: dir, Logger: storetest.Logger(t)}, path, replace)
		return err
	}
	told(t, "over a database", restore(c.DataDir, false), ledger.KindExists, "--replace")
	letters := t.TempDir()
	writeFile(t, filepath.Join(letters, "letter.txt"), []byte("a letter"))
	told(t, "among letters", restore(letters, false), ledger.KindExists, "letter.txt")
	told(t, "over letters", restore(letters, true), ledger.KindExists, "letter.txt")
	s := opened(t, c)
	told(t, "under a server's feet", restore(c.DataDir, true), ledger.KindUnavailable, "stop it before you restore")
	closed(t, s)
	// What a killed restore left behind is no hindrance, and is gone afterwards.
	killed := t.TempDir()
	if err := os.Mkdir(filepath.Join(killed, "restoring-1234"), 0o700); err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(killed, "restoring-1234", storetest.DatabaseFile), []byte("half"))
	if err := restore(killed, false); err != nil {
		t.Error(err)
	}
	only(t, killed, storetest.DatabaseFile, "migrate.lock", "serve.lock")
}

// TestRestoreReplaces keeps what was there before, also where it is damaged.
func TestRestoreReplaces(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	c := storetest.SQLite().NewConfig(t)
	s := opened(t, c)
	storetest.NewFleet().Register(t, s)
	storetest.Record(t, s, storetest.NewTightening(storetest.DenverJoint))
	path := backedUp(t, c)
	storetest.Record(t, s, storetest.NewTightening(storetest.DenverJoint))
	closed(t, s)
	r, err := store.Restore(ctx, c, path, true)
	if err != nil || filepath.Dir(r.Replaced) != c.DataDir {
		t.Fatalf("%+v, %v", r, err)
	}
	lengths := func(dir string) int64 {
		s := opened(t, store.Config{DataDir: dir, Logger: storetest.Logger(t)})
		defer closed(t, s)
		var n int64
		for _, site := range soundReport(t, s).Sites {
			n += site.Records
		}
		return n
	}
	if before, after := lengths(r.Replaced), lengths(c.DataDir); before != after+1 {
		t.Errorf("%d records before and %d restored; expected one less", before, after)
	}
	// A damaged database with a log that can't be taken in.
	writeFile(t, filepath.Join(c.DataDir, storetest.DatabaseFile), []byte(strings.Repeat("damaged. ", 1000)))
	writeFile(t, filepath.Join(c.DataDir, storetest.DatabaseFile+"-wal"), []byte("its log"))
	r, err = store.Restore(ctx, c, path, true)
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{storetest.DatabaseFile: "damaged. ", storetest.DatabaseFile + "-wal": "its log"} {
		if text, err := os.ReadFile(filepath.Join(r.Replaced, name)); err != nil || !strings.HasPrefix(string(text), want) {
			t.Errorf("%s is kept as %.20q, %v", name, text, err)
		}
	}
	if n := lengths(c.DataDir); n == 0 {
		t.Error("nothing was restored")
	}
}

// TestAnOlderBackupIsMigrated restores the dump of a released schema.
func TestAnOlderBackupIsMigrated(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join("testdata", "sqlite-v4.sql"))
	if err != nil {
		t.Fatal(err)
	}
	old := store.Config{DataDir: t.TempDir()}
	db := storetest.Raw(t, old)
	mustExec(t, db, string(text))
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	path := backedUp(t, old)
	c := store.Config{DataDir: t.TempDir(), Logger: storetest.Logger(t)}
	r, err := store.Restore(context.Background(), c, path, false)
	if err != nil || r.From != 4 || !r.Report.OK() {
		t.Fatalf("%+v, %v", r, err)
	}
	checkDumped(t, context.Background(), storetest.Open(t, c), "sqlite-v4.sql")
}
