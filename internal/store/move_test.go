package store_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
)

// oddDocument is JSON that PostgreSQL keeps in another form, with the same meaning.
const oddDocument = `{ "b": [1e17, 1.50, -0.0, 9223372036854775807, 12345678901234567890, 1e21, 0.1], "a": {"é": "2 °C\n\"cold\"", "": null}, "b2": true }`

// TestMoveCarriesEverything moves records of every kind, and goes on with them.
func TestMoveCarriesEverything(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	from, attached := filled(t)
	s := opened(t, from)
	request := store.Change{RequestID: storetest.NewID().String(), Digest: [32]byte{1}}
	fresh := siteKind.fresh(0)
	if _, err := s.RegisterSites(ctx, []ledger.Site{fresh}, request); err != nil {
		t.Fatal(err)
	}
	before := soundReport(t, s)
	closed(t, s)
	raw := storetest.Raw(t, from)
	// Not in any chain, and what the alarms had counted is read from elsewhere.
	mustExec(t, raw, "UPDATE alarm_states SET points = 9223372036854775807")
	positions := lines(t, raw, "SELECT positions FROM alarm_progress")
	mustExec(t, raw, "UPDATE alarm_progress SET awaited = '"+oddDocument+"'")
	tables := slices.DeleteFunc(tablesOf(t, storetest.SQLite(), raw), func(name string) bool { return name == "schema_migrations" })
	rows := rowCounts(t, raw, tables)

	to := storetest.Postgres().NewConfig(t)
	var copied []string
	moved, err := store.Move(ctx, from, to, func(table string, n int64) { copied = append(copied, table) })
	if err != nil {
		t.Fatalf("%v\n%v", err, errors.Unwrap(err))
	}
	there := storetest.Raw(t, to)
	if diff := cmp.Diff(rows, rowCounts(t, there, tables)); diff != "" {
		t.Errorf("rows (-here +there):\n%s", diff)
	}
	if diff := cmp.Diff(slices.Sorted(slices.Values(tables)), slices.Sorted(slices.Values(copied))); diff != "" {
		t.Errorf("tables (-of the embedded database +moved):\n%s", diff)
	}
	if want := slices.DeleteFunc(tablesOf(t, storetest.Postgres(), there), func(name string) bool { return name == "schema_migrations" }); len(want) != len(moved.Tables) {
		t.Errorf("%d tables were moved; PostgreSQL has %d", len(moved.Tables), len(want))
	}
	empty := slices.DeleteFunc(slices.Clone(tables), func(name string) bool { return rows[name] > 0 })
	t.Logf("without a row in this test: %v", empty)
	if got := lines(t, there, "SELECT awaited->'b'->>3, awaited->'a'->>'é' FROM alarm_progress"); len(got) == 0 || !strings.Contains(got[0], "9223372036854775807") {
		t.Errorf("the document reads %v", got)
	}
	if got := lines(t, there, "SELECT max(points) FROM alarm_states"); got[0] != "9223372036854775807" {
		t.Errorf("the largest number reads %v", got)
	}
	mustExec(t, there, "UPDATE alarm_progress SET awaited = '{}'")
	if got := lines(t, there, "SELECT positions = '"+positions[0]+"'::jsonb FROM alarm_progress"); got[0] != "true" {
		t.Errorf("what the alarms have counted: %v; expected %v", got, positions)
	}

	d := &diary{t, storetest.Open(t, to), storetest.Occurred}
	if diff := cmp.Diff(heads(before), heads(soundReport(t, d.s))); diff != "" {
		t.Errorf("chains (-here +there):\n%s", diff)
	}
	if content, _ := d.content(attached.SHA256); !bytes.Equal(content, photo(600<<10)) {
		t.Errorf("the attachment came back with %d bytes", len(content))
	}
	if outcomes, err := d.s.RegisterSites(ctx, []ledger.Site{fresh}, request); err != nil || outcomes[0].State != store.AlreadyKnown {
		t.Errorf("a request sent again: %v, %v", outcomes, err)
	}
	// New rows take new keys in every table.
	next := siteKind.fresh(1)
	if outcomes, err := d.s.RegisterSites(ctx, []ledger.Site{next}, store.Change{}); err != nil || outcomes[0].State != store.Taken {
		t.Errorf("a new site: %v, %v", outcomes, err)
	}
	r := storetest.NewTightening(storetest.KolkataJoint)
	storetest.Record(t, d.s, r)
	d.attach(r, "another.png", photo(5000))
	soundReport(t, d.s)
}

// nothingIn makes sure that a database is as the migrations left it.
func nothingIn(t *testing.T, what string, c store.Config) {
	t.Helper()
	e := storetest.Postgres()
	db, fresh := storetest.Raw(t, c), storetest.Raw(t, e.NewConfig(t))
	tables := tablesOf(t, e, fresh)
	if diff := cmp.Diff(rowCounts(t, fresh, tables), rowCounts(t, db, tables)); diff != "" {
		t.Errorf("%s: rows (-fresh +after):\n%s", what, diff)
	}
}

// TestMovesThatAreRefused leaves nothing behind in PostgreSQL.
func TestMovesThatAreRefused(t *testing.T) {
	t.Parallel()
	filledOnce, _ := filled(t)
	const withoutGuards = "DROP TRIGGER records_never_update; DROP TRIGGER tightenings_never_update; "
	for name, tc := range map[string]struct {
		here, there []string
		kind        ledger.Kind
		says        string
	}{
		"a record was changed":       {[]string{withoutGuards + "UPDATE tightenings SET fasteners = 9 WHERE id = (SELECT max(id) FROM tightenings)"}, nil, ledger.KindPrecondition, "does not verify"},
		"a tally was changed":        {[]string{"UPDATE tallies SET fasteners = fasteners + 1"}, nil, ledger.KindPrecondition, "does not verify"},
		"a text with a zero byte":    {[]string{"UPDATE people SET name = 'A' || char(0) || 'B' WHERE id = 1"}, nil, ledger.KindPrecondition, "column name of people, row id 1: the text has a zero byte"},
		"a text that is no UTF-8":    {[]string{"UPDATE people SET name = CAST(x'41ff' AS TEXT) WHERE id = 1"}, nil, ledger.KindPrecondition, "not UTF-8"},
		"a zero byte in JSON":        {[]string{`UPDATE alarm_progress SET awaited = '{"a":"\u0000"}'`}, nil, ledger.KindPrecondition, "alarm_progress, row id 1: the text has a zero byte"},
		"a document that is none":    {[]string{"UPDATE alarm_progress SET awaited = '{'"}, nil, ledger.KindPrecondition, "not JSON"},
		"a text among numbers":       {[]string{"UPDATE request_keys SET create_time = 'soon'", "INSERT INTO request_keys (request_id, digest, create_time) VALUES ('x', x'00', 'soon')"}, nil, ledger.KindPrecondition, "create_time of request_keys"},
		"a number too large":         {[]string{"UPDATE alarm_rules SET grouping = 70000"}, nil, ledger.KindPrecondition, "grouping of alarm_rules, row id 1: 70000 stands there, which 16 bits do not hold"},
		"a truth that is neither":    {[]string{"UPDATE alarm_rules SET active = 2"}, nil, ledger.KindPrecondition, "expected 0 or 1"},
		"a table more":               {[]string{"CREATE TABLE photos (id integer PRIMARY KEY)"}, nil, ledger.KindPrecondition, "photos: is in the embedded database alone"},
		"a column more":              {[]string{"ALTER TABLE people ADD COLUMN shoe_size integer"}, nil, ledger.KindPrecondition, "shoe_size"},
		"a table more there":         {nil, []string{"CREATE TABLE photos (id bigint PRIMARY KEY)"}, ledger.KindPrecondition, "photos: is in PostgreSQL alone"},
		"a type that is not known":   {nil, []string{"ALTER TABLE people ADD COLUMN born date"}, ledger.KindPrecondition, "column born of people is of type date"},
		"no key":                     {nil, []string{"ALTER TABLE blobs DROP CONSTRAINT blobs_pkey"}, ledger.KindPrecondition, "blobs has no primary key"},
		"not empty":                  {nil, []string{"INSERT INTO request_keys (request_id, digest, create_time) VALUES ('x', 'y', 1)"}, ledger.KindExists, "request_keys has 1 rows"},
		"another register's epoch":   {nil, []string{"UPDATE register_epoch SET epoch = 7"}, ledger.KindExists, "register_epoch has 1 rows"},
		"a trigger that changes":     {nil, []string{"CREATE FUNCTION spoil() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN NEW.name := 'X'; RETURN NEW; END $$", "CREATE TRIGGER spoil BEFORE INSERT ON people FOR EACH ROW EXECUTE FUNCTION spoil()"}, ledger.KindPrecondition, "people: "},
		"a trigger that loses":       {nil, []string{"CREATE FUNCTION spoil() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NULL; END $$", "CREATE TRIGGER spoil BEFORE INSERT ON attachments FOR EACH ROW EXECUTE FUNCTION spoil()"}, ledger.KindPrecondition, "rows of attachments were sent"},
		"a rule that refuses":        {nil, []string{"ALTER TABLE people ADD CHECK (code < 'b')"}, ledger.KindPrecondition, "PostgreSQL refuses a row of people"},
		"a place without its site":   {[]string{"PRAGMA foreign_keys = OFF; DELETE FROM towers"}, nil, ledger.KindPrecondition, "is damaged"},
		"without the guards":         {nil, []string{"DROP TRIGGER records_never_change ON records"}, ledger.KindPrecondition, "records_never_change is missing"},
		"an older schema":            {[]string{"UPDATE schema_migrations SET version = version - 1"}, nil, ledger.KindUnavailable, "run `trackerd migrate up` on it first"},
		"an older schema there":      {nil, []string{"UPDATE schema_migrations SET version = version - 1"}, ledger.KindUnavailable, "run `trackerd migrate up` on it first"},
		"a newer schema there":       {nil, []string{"UPDATE schema_migrations SET version = 9999"}, ledger.KindUnavailable, "use a newer trackerd"},
		"somebody locks it for long": {nil, nil, ledger.KindUnavailable, "somebody uses the tables"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			from := store.Config{DataDir: t.TempDir(), Logger: storetest.Logger(t)}
			if err := os.CopyFS(from.DataDir, os.DirFS(filledOnce.DataDir)); err != nil {
				t.Fatal(err)
			}
			to := storetest.Postgres().NewConfig(t)
			here, there := storetest.Raw(t, from), storetest.Raw(t, to)
			for _, statement := range tc.here {
				mustExec(t, here, statement)
			}
			for _, statement := range tc.there {
				mustExec(t, there, statement)
			}
			if len(tc.here)+len(tc.there) == 0 {
				to.LockTimeout = 50 * time.Millisecond
				mustExec(t, session(t, to), "BEGIN; LOCK TABLE people IN EXCLUSIVE MODE")
			}
			tables := tablesOf(t, storetest.Postgres(), there)
			before := rowCounts(t, there, tables)
			_, err := store.Move(context.Background(), from, to, nil)
			told(t, name, err, tc.kind, tc.says)
			if diff := cmp.Diff(before, rowCounts(t, there, tables)); diff != "" {
				t.Errorf("rows there (-before +after):\n%s", diff)
			}
		})
	}
}

// TestNobodyServesDuringAMove has a server on either side.
func TestNobodyServesDuringAMove(t *testing.T) {
	t.Parallel()
	ctx := context.Background()
	from, to := storetest.SQLite().NewConfig(t), storetest.Postgres().NewConfig(t)
	s := opened(t, from)
	_, err := store.Move(ctx, from, to, nil)
	told(t, "served here", err, ledger.KindUnavailable, "stop it before you move")
	closed(t, s)
	other := opened(t, to)
	_, err = store.Move(ctx, from, to, nil)
	told(t, "served there", err, ledger.KindUnavailable, "a trackerd is connected")
	closed(t, other)
	nothingIn(t, "served", to)
	_, err = store.Move(ctx, store.Config{DataDir: t.TempDir()}, to, nil)
	told(t, "from nothing", err, ledger.KindUnavailable, "no such file")
	_, err = store.Move(ctx, to, from, nil)
	told(t, "the other way", err, ledger.KindInvalid, "say both")
	_, err = store.Move(ctx, from, storetest.Postgres().Empty(t), nil)
	told(t, "into nothing", err, ledger.KindUnavailable, "run `trackerd migrate up`")
	ended, end := context.WithCancel(ctx)
	end()
	if _, err := store.Move(ended, from, to, nil); err == nil {
		t.Error("ended: it was moved")
	}
}

const moveVariable = "JOINTLEDGER_TEST_MOVE"

// moveInstead makes the test binary move: FOLDER=DSN.
func moveInstead() bool {
	from, to, ok := strings.Cut(os.Getenv(moveVariable), "=")
	if ok {
		_, err := store.Move(context.Background(), store.Config{DataDir: from}, store.Config{DSN: to}, func(table string, _ int64) { fmt.Println(table) })
		fmt.Println(err)
	}
	return ok
}

// TestAKilledMoveMovesNothing kills a process that moves, a little later each time:
// PostgreSQL has nothing or everything.
func TestAKilledMoveMovesNothing(t *testing.T) {
	t.Parallel()
	from, _ := filled(t)
	to := storetest.Postgres().NewConfig(t)
	there := storetest.Raw(t, to)
	kills := 6
	for i := 0; ; i++ {
		cmd := exec.Command("/proc/self/exe")
		cmd.Env = append(os.Environ(), moveVariable+"="+from.DataDir+"="+to.DSN)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if i < kills {
			// Each table that was copied is told of: the kill comes after some of them.
			read := make([]byte, 1)
			for told := 0; told < 6*i; {
				n, err := out.Read(read)
				if err != nil {
					break
				}
				told += bytes.Count(read[:n], []byte("\n"))
			}
			cmd.Process.Kill() // it may have ended
		} else {
			var all bytes.Buffer
			all.ReadFrom(out) // what it says is looked at
			defer func() { t.Logf("the last one said: %s", all.String()) }()
		}
		cmd.Wait() // it was killed
		// PostgreSQL notices that the client is gone.
		for begun := time.Now(); time.Since(begun) < 30*time.Second; time.Sleep(10 * time.Millisecond) {
			if n := lines(t, there, "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND pid <> pg_backend_pid()"); n[0] == "0" {
				break
			}
		}
		if n := lines(t, there, "SELECT count(*) FROM records"); n[0] != "0" {
			if i == 0 {
				t.Error("moved before it was killed at once")
			}
			break
		}
		nothingIn(t, fmt.Sprintf("kill %d", i), to)
		if i == kills {
			t.Fatal("the move that was not killed moved nothing")
		}
	}
	soundReport(t, storetest.Open(t, to))
}
