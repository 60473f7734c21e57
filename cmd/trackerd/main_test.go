package main

import (
	"bufio"
	"bytes"
	"context"
	"database/sql"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "jointledger/proto/jointledger/v1"
)

// asProgram makes this test binary be trackerd, for tests that need a process.
const asProgram = "TRACKERD_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
	}
	goleak.VerifyTestMain(m)
}

// trackerd runs the command line to its end.
func trackerd(t *testing.T, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	code = run(t.Context(), args, &out, &errs)
	return code, out.String(), errs.String()
}

// served is a running server.
type served struct {
	conn *grpc.ClientConn
	addr string
	// stop asks it to stop and gives its exit status and log.
	stop func() (int, string)
}

func serveIn(t *testing.T, args ...string) served {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	out, in := io.Pipe()
	var log bytes.Buffer
	done := make(chan int, 1)
	go func() {
		code := run(ctx, append([]string{"serve", "--listen", "127.0.0.1:0"}, args...), in, &log)
		in.Close()
		done <- code
	}()
	line, err := bufio.NewReader(out).ReadString('\n')
	addr, ok := strings.CutPrefix(strings.TrimSuffix(line, "\n"), "listening on ")
	if err != nil || !ok {
		cancel()
		<-done
		t.Fatalf("first line %q, %v; log: %s", line, err, log.String())
	}
	go io.Copy(io.Discard, out) // it must not block on more lines
	conn, err := grpc.NewClient(addr, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	s := served{conn: conn, addr: addr}
	stopped := false
	s.stop = func() (int, string) {
		stopped = true
		cancel()
		code := <-done
		conn.Close()
		return code, log.String()
	}
	t.Cleanup(func() {
		if !stopped {
			s.stop()
		}
	})
	return s
}

func healthy(t *testing.T, s served) {
	t.Helper()
	r, err := healthpb.NewHealthClient(s.conn).Check(t.Context(), &healthpb.HealthCheckRequest{Service: "jointledger.v1.AssemblyService"})
	if err != nil || r.Status != healthpb.HealthCheckResponse_SERVING {
		t.Fatalf("health: %v %v", r, err)
	}
}

func TestServeKeepsWhatItAcknowledged(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "folder")
	s := serveIn(t, "--data", dir)
	healthy(t, s)
	_, err := pb.NewStructureServiceClient(s.conn).CreateSite(t.Context(), &pb.CreateSiteRequest{SiteId: "HAR", Site: &pb.Site{DisplayName: "Harrow Fell", TimeZone: "UTC"}})
	if err != nil {
		t.Fatal(err)
	}
	if code, log := s.stop(); code != 0 || !strings.Contains(log, "stopped") {
		t.Fatalf("status %d; %s", code, log)
	}
	s = serveIn(t, "--data", dir)
	if site, err := pb.NewStructureServiceClient(s.conn).GetSite(t.Context(), &pb.GetSiteRequest{Name: "sites/HAR"}); err != nil || site.DisplayName != "Harrow Fell" {
		t.Errorf("%v %v", site, err)
	}
}

func TestServeDefaultsToTheDataHome(t *testing.T) {
	home := t.TempDir()
	t.Setenv("XDG_DATA_HOME", home)
	t.Setenv("JOINTLEDGER_DSN", "")
	serveIn(t).stop()
	if _, err := os.Stat(filepath.Join(home, "jointledger", "jointledger.db")); err != nil {
		t.Error(err)
	}
	t.Setenv("XDG_DATA_HOME", "not/absolute")
	t.Setenv("HOME", home)
	if dir, err := defaultDataDir(); err != nil || dir != filepath.Join(home, ".local", "share", "jointledger") {
		t.Errorf("%q %v", dir, err)
	}
}

func TestServeAsksForItsToken(t *testing.T) {
	file := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(file, []byte("0123456789abcdef\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := serveIn(t, "--data", t.TempDir(), "--token-file", file)
	sites := pb.NewStructureServiceClient(s.conn)
	if _, err := sites.ListSites(t.Context(), &pb.ListSitesRequest{}); status.Code(err) != codes.Unauthenticated {
		t.Errorf("without the token: %v", err)
	}
	if _, err := sites.ListSites(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer 0123456789abcdef"), &pb.ListSitesRequest{}); err != nil {
		t.Errorf("with the token: %v", err)
	}
	healthy(t, s)
}

func TestConfigurationThatIsRefused(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	taken := serveIn(t, "--data", filepath.Join(dir, "taken"))
	data := filepath.Join(dir, "data")
	for _, c := range []struct {
		name string
		args []string
		code int
		says string
	}{
		{"plaintext listener", []string{"serve", "--data", data, "--listen", ":0"}, 78, "others can reach :0, and without TLS they can read and change what passes, tokens too"},
		{"plaintext listener by address", []string{"serve", "--data", data, "--listen", "0.0.0.0:0"}, 78, "give --tls-cert and --tls-key, listen on 127.0.0.1, or say --allow-plaintext"},
		{"plaintext metrics", []string{"serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics-listen", "0.0.0.0:0"}, 78, "others can reach 0.0.0.0:0"},
		{"no port", []string{"serve", "--data", data, "--listen", "127.0.0.1"}, 64, "--listen: expected HOST:PORT"},
		{"port in use", []string{"serve", "--data", data, "--listen", taken.addr}, 71, "can't listen on " + taken.addr},
		{"no token file", []string{"serve", "--data", data, "--token-file", filepath.Join(dir, "absent")}, 78, "the token file can't be read"},
		{"empty token file", []string{"serve", "--data", data, "--token-file", write("empty", " \n")}, 78, "is empty"},
		{"two tokens", []string{"serve", "--data", data, "--token-file", write("two", "first\nsecond\n")}, 78, "on one line"},
		{"two databases", []string{"serve", "--data", data, "--dsn", "postgres://localhost/x"}, 78, "exclude each other"},
		{"connection string", []string{"serve", "--listen", "127.0.0.1:0", "--dsn", "postgres://localhost:notaport/x"}, 78, "connection string can't be read"},
		{"database not there", []string{"serve", "--listen", "127.0.0.1:0", "--dsn", "postgres://127.0.0.1:1/x?connect_timeout=2"}, 69, "can't be reached"},
		{"folder is a file", []string{"serve", "--listen", "127.0.0.1:0", "--data", write("file", "x")}, 69, "the data folder"},
		{"log level", []string{"serve", "--data", data, "--log-level", "loud"}, 64, "expected debug, info, warn or error"},
		{"unknown flag", []string{"serve", "--sesame"}, 64, "unknown flag"},
		{"unknown command", []string{"sreve"}, 64, "unknown command"},
		{"unknown command below", []string{"migrate", "down"}, 64, "unknown command"},
		{"argument", []string{"verify", "everything"}, 64, "unknown command"},
		{"verify nothing", []string{"verify", "--data", data}, 69, "there is no record here"},
		{"status of nothing", []string{"migrate", "status", "--data", data}, 69, "trackerd migrate up"},
	} {
		code, stdout, stderr := trackerd(t, c.args...)
		if code != c.code || !strings.Contains(stderr, c.says) || strings.Contains(stdout, "listening") {
			t.Errorf("%s: status %d, expected %d; %s", c.name, code, c.code, stderr)
		}
	}
	if _, err := os.Stat(data); !os.IsNotExist(err) {
		t.Errorf("a refused command made the data folder: %v", err)
	}
	t.Setenv("JOINTLEDGER_DSN", "postgres://localhost:notaport/x")
	if code, _, stderr := trackerd(t, "migrate", "status"); code != 78 || !strings.Contains(stderr, "connection string") {
		t.Errorf("the environment's: status %d; %s", code, stderr)
	}
	if code, _, stderr := trackerd(t, "migrate", "up", "--data", data); code != 0 {
		t.Errorf("the command line goes first: status %d; %s", code, stderr)
	}
}

func TestAPlaintextListenerMayBeAllowed(t *testing.T) {
	token := filepath.Join(t.TempDir(), "token")
	if err := os.WriteFile(token, []byte("0123456789abcdef\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s := serveIn(t, "--data", t.TempDir(), "--listen", "0.0.0.0:0", "--allow-plaintext", "--token-file", token)
	if _, log := s.stop(); !strings.Contains(log, "plaintext listener: whoever is on the way can read and change what passes") {
		t.Errorf("no warning: %s", log)
	}
}

func TestMigrate(t *testing.T) {
	dir := t.TempDir()
	for _, c := range []struct{ args, says string }{
		{"up", "migrated from schema version 0 to "},
		{"up", "nothing to do"},
		{"status", "up to date"},
	} {
		if code, stdout, stderr := trackerd(t, "migrate", c.args, "--data", dir); code != 0 || !strings.Contains(stdout, c.says) {
			t.Errorf("%s: status %d; %s%s", c.args, code, stdout, stderr)
		}
	}
	change(t, dir, "UPDATE schema_migrations SET version = version + 1")
	for _, args := range [][]string{{"migrate", "status"}, {"migrate", "up"}, {"serve", "--listen", "127.0.0.1:0"}, {"verify"}} {
		if code, _, stderr := trackerd(t, append(args, "--data", dir)...); code != 69 || !strings.Contains(stderr, "newer") {
			t.Errorf("%v on a newer database: status %d; %s", args, code, stderr)
		}
	}
}

// change does to a database what no command would, past the triggers that
// forbid it.
func change(t *testing.T, dir, statement string) {
	t.Helper()
	// The driver is the store's own, registered with it.
	db, err := sql.Open("sqlite", filepath.Join(dir, "jointledger.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var triggers string
	if err := db.QueryRow("SELECT COALESCE(group_concat('DROP TRIGGER ' || name, '; '), '') FROM sqlite_master WHERE type = 'trigger'").Scan(&triggers); err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(triggers); err != nil {
		t.Fatal(err)
	}
	r, err := db.Exec(statement)
	if err != nil {
		t.Fatal(err)
	}
	if n, err := r.RowsAffected(); err != nil || n == 0 {
		t.Fatalf("%d rows changed, %v", n, err)
	}
}

func TestVerify(t *testing.T) {
	dir := t.TempDir()
	s := serveIn(t, "--data", dir)
	lots := pb.NewLotServiceClient(s.conn)
	if _, err := pb.NewStructureServiceClient(s.conn).CreateSite(t.Context(), &pb.CreateSiteRequest{SiteId: "HAR", Site: &pb.Site{DisplayName: "Harrow Fell", TimeZone: "UTC"}}); err != nil {
		t.Fatal(err)
	}
	if _, err := lots.CreateLot(t.Context(), &pb.CreateLotRequest{LotId: "L1", Lot: &pb.Lot{Supplier: "Corrie", Fastener: &pb.Fastener{Thread: "M10", Material: pb.Material_MATERIAL_316}}}); err != nil {
		t.Fatal(err)
	}
	var movements []*pb.LotMovement
	for range 3 {
		movements = append(movements, &pb.LotMovement{
			Name: "lotMovements/" + uuid.Must(uuid.NewV7()).String(), Lot: "lots/L1", Site: "sites/HAR",
			Kind: pb.MovementKind_MOVEMENT_KIND_RECEIVED, Quantity: 100, Entry: &pb.Entry{OccurTime: timestamppb.Now()},
		})
	}
	if _, err := lots.RecordLotMovements(t.Context(), &pb.RecordLotMovementsRequest{LotMovements: movements}); err != nil {
		t.Fatal(err)
	}
	// Beside a running server too.
	code, stdout, stderr := trackerd(t, "verify", "--data", dir)
	if code != 0 || !strings.Contains(stdout, "HAR   3        whole") || !strings.Contains(stdout, "tallies equal a recount") {
		t.Errorf("status %d; %s%s", code, stdout, stderr)
	}
	s.stop()
	change(t, dir, "UPDATE lot_movements SET quantity = 90 WHERE id = (SELECT max(id) FROM lot_movements)")
	code, stdout, stderr = trackerd(t, "verify", "--data", dir)
	if code != 1 || !strings.Contains(stdout, "HAR   3        1 problems") || !strings.Contains(stdout, "HAR: record 3 ("+movements[2].Name+")") || strings.Contains(stdout, "tallies equal") ||
		!strings.Contains(stdout, "guards: trigger lot_movements_never_update is missing") {
		t.Errorf("status %d; %s%s", code, stdout, stderr)
	}
	code, stdout, _ = trackerd(t, "verify", "--help")
	if code != 0 || !strings.Contains(stdout, "The chain does not cover the registers") || !strings.Contains(stdout, "1  verify found problems") {
		t.Errorf("status %d; help %s", code, stdout)
	}
}

// A signal to the real process: what it was doing is finished, and it exits
// with status 0.
func TestASignalStopsTheProgram(t *testing.T) {
	dir := t.TempDir()
	for _, sig := range []os.Signal{syscall.SIGTERM, os.Interrupt} {
		c := exec.Command(os.Args[0], "serve", "--data", dir, "--listen", "127.0.0.1:0")
		c.Env = append(os.Environ(), asProgram+"=1")
		var log bytes.Buffer
		c.Stderr = &log
		out, err := c.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		line, err := bufio.NewReader(out).ReadString('\n')
		if err != nil || !strings.HasPrefix(line, "listening on 127.0.0.1:") {
			c.Process.Kill()
			t.Fatalf("%q %v", line, err)
		}
		if err := c.Process.Signal(sig); err != nil {
			t.Fatal(err)
		}
		timer := time.AfterFunc(20*time.Second, func() { c.Process.Kill() })
		if err := c.Wait(); err != nil {
			t.Errorf("%v: %v; %s", sig, err, log.String())
		}
		timer.Stop()
	}
}

func TestVersion(t *testing.T) {
	if code, stdout, _ := trackerd(t, "version"); code != 0 || !strings.HasPrefix(stdout, "trackerd ") || !strings.Contains(stdout, " go1.") {
		t.Errorf("status %d; %s", code, stdout)
	}
}
