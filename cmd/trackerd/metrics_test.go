package main

import (
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/cmd/trackerd/certificate/certtest"
	pb "jointledger/proto/jointledger/v1"
)

// scrape reads the metrics, by name and labels.
func scrape(t *testing.T, client *http.Client, url string) (map[string]float64, string) {
	t.Helper()
	r, err := client.Get(url)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	if err != nil || r.StatusCode != http.StatusOK {
		t.Fatalf("%s %v: %s", r.Status, err, text)
	}
	values := map[string]float64{}
	for line := range strings.Lines(string(text)) {
		name, value, _ := strings.Cut(strings.TrimSpace(line), "} ")
		if !strings.Contains(line, "{") {
			name, value, _ = strings.Cut(strings.TrimSpace(line), " ")
		} else {
			name += "}"
		}
		if v, err := strconv.ParseFloat(value, 64); err == nil && !strings.HasPrefix(line, "#") {
			values[name] = v
		}
	}
	return values, string(text)
}

// moved sends lot movements with ids of their own, and again, and one of a lot that
// nobody knows.
func moved(t *testing.T, conn *grpc.ClientConn, token string) {
	t.Helper()
	ctx := metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token)
	if _, err := pb.NewStructureServiceClient(conn).CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "HAR", Site: &pb.Site{DisplayName: "Harrow Fell", TimeZone: "UTC"}}); err != nil {
		t.Fatal(err)
	}
	lots := pb.NewLotServiceClient(conn)
	if _, err := lots.CreateLot(ctx, &pb.CreateLotRequest{LotId: "L1", Lot: &pb.Lot{Supplier: "Corrie", Fastener: &pb.Fastener{Thread: "M10", Material: pb.Material_MATERIAL_316}}}); err != nil {
		t.Fatal(err)
	}
	var movements []*pb.LotMovement
	for i := range 4 {
		movements = append(movements, &pb.LotMovement{
			Name: "lotMovements/" + uuid.Must(uuid.NewV7()).String(), Lot: "lots/L1", Site: "sites/HAR",
			Kind: pb.MovementKind_MOVEMENT_KIND_RECEIVED, Quantity: int64(100 + i), Entry: &pb.Entry{OccurTime: timestamppb.Now()},
		})
	}
	movements[3].Lot = "lots/L9"
	for range 2 {
		if _, err := lots.RecordLotMovements(ctx, &pb.RecordLotMovementsRequest{LotMovements: movements}); err != nil {
			t.Fatal(err)
		}
	}
}

func TestMetricsOfARunningServer(t *testing.T) {
	const token = "a-token-that-nobody-shall-read-0123"
	dir := t.TempDir()
	file := filepath.Join(dir, "token")
	if err := os.WriteFile(file, []byte(token), 0o600); err != nil {
		t.Fatal(err)
	}
	p := startProgram(t, nil, "serve", "--data", filepath.Join(dir, "data"), "--listen", "127.0.0.1:0", "--metrics-listen", "127.0.0.1:0",
		"--token-file", file, "--log-format", "json", "--log-level", "debug")
	url := "http://" + p.logged(`"msg":"metrics","address":"([^"]+)"`) + "/metrics"
	conn := connect(t, p.addr, nil)
	moved(t, conn, token)
	if _, err := pb.NewStructureServiceClient(conn).ListSites(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer not-"+token), &pb.ListSitesRequest{}); err == nil {
		t.Error("a wrong token was taken")
	}

	got, text := scrape(t, http.DefaultClient, url)
	for name, want := range map[string]float64{
		`jointledger_calls_total{code="OK",method="StructureService/CreateSite"}`:             1,
		`jointledger_calls_total{code="OK",method="LotService/RecordLotMovements"}`:           2,
		`jointledger_calls_total{code="Unauthenticated",method="StructureService/ListSites"}`: 1,
		`jointledger_call_seconds_count{method="LotService/RecordLotMovements"}`:              2,
		`jointledger_records_total{kind="lot-movement",outcome="taken"}`:                      3,
		`jointledger_records_total{kind="lot-movement",outcome="known"}`:                      3,
		`jointledger_records_total{kind="lot-movement",outcome="refused"}`:                    2,
		"jointledger_database_reachable":                                                      1,
		"jointledger_calls_in_flight":                                                         0,
		"jointledger_commit_repeats_total":                                                    0,
	} {
		if v, ok := got[name]; !ok || v != want {
			t.Errorf("%s is %g; expected %g", name, v, want)
		}
	}
	for _, atLeast := range []string{`jointledger_transaction_seconds_count{kind="read"}`, `jointledger_transaction_seconds_count{kind="write"}`,
		`jointledger_commits_total{result="kept"}`, "jointledger_commit_requests_count", "go_goroutines", "process_start_time_seconds"} {
		if got[atLeast] < 1 {
			t.Errorf("%s is %g", atLeast, got[atLeast])
		}
	}
	if !strings.Contains(text, `jointledger_build_info{api="`) {
		t.Error("it does not say what is running")
	}
	// Neither names of things nor tokens are anybody's who may scrape.
	for _, secret := range []string{token, "HAR", "L1", "Corrie", dir} {
		if strings.Contains(text, secret) {
			t.Errorf("%s can be scraped", secret)
		}
	}
	r, err := http.Get(strings.TrimSuffix(url, "metrics") + "debug/pprof/")
	if err != nil || r.StatusCode != http.StatusNotFound {
		t.Errorf("another page: %v %v", r, err)
	}
	r.Body.Close()
	p.signal(syscall.SIGTERM)
	if err := p.ended(); err != nil {
		t.Fatalf("%v; %s", err, p.log)
	}
	wantJSONLog(t, p.log.String(), token)
}

// wantJSONLog looks at every line of a log: an object each, and no token in any.
func wantJSONLog(t *testing.T, log, token string) {
	t.Helper()
	calls := 0
	for line := range strings.Lines(log) {
		var of struct {
			Level, Msg, Method, Code, Principal string
		}
		if err := json.Unmarshal([]byte(line), &of); err != nil {
			t.Errorf("%v in %s", err, line)
		}
		if of.Msg == "call" && of.Code == "OK" && of.Principal != "" {
			calls++
		}
		if strings.Contains(line, token) {
			t.Errorf("the token is in the log: %s", line)
		}
	}
	if calls < 4 {
		t.Errorf("%d calls are in the log with their principal: %s", calls, log)
	}
}

func TestMetricsOverTLS(t *testing.T) {
	a := certtest.New(t, "Yard Authority")
	cert, key := a.Files(t, "yard", 90*24*time.Hour, "127.0.0.1")
	p := startProgram(t, nil, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--metrics-listen", "127.0.0.1:0", "--tls-cert", cert, "--tls-key", key)
	address := p.logged(`msg=metrics address=(\S+)`)
	config := trusting(t, a.File, "127.0.0.1")
	config.NextProtos = nil
	transport := &http.Transport{TLSClientConfig: config}
	defer transport.CloseIdleConnections()
	got, _ := scrape(t, &http.Client{Transport: transport}, "https://"+address+"/metrics")
	days := (got["jointledger_certificate_expiry_timestamp_seconds"] - float64(time.Now().Unix())) / 86400
	if days < 89 || days > 91 {
		t.Errorf("the certificate ends in %g days; expected 90", days)
	}
	if r, err := http.Get("http://" + address + "/metrics"); err == nil {
		if r.StatusCode == http.StatusOK {
			t.Error("metrics are given in plaintext")
		}
		r.Body.Close()
	}
}

func TestLimitsOfARunningServer(t *testing.T) {
	p := startProgram(t, []string{"JOINTLEDGER_RATE=0.01"}, "serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0", "--rate-burst", "3")
	sites := pb.NewStructureServiceClient(connect(t, p.addr, nil))
	for i := range 4 {
		_, err := sites.ListSites(t.Context(), &pb.ListSitesRequest{})
		if (err == nil) != (i < 3) {
			t.Errorf("call %d: %v", i, err)
		}
		if i == 3 && !regexp.MustCompile(`ResourceExhausted.* asks more often than 0.01 times a second, 3 at once`).MatchString(fmt.Sprint(err)) {
			t.Errorf("refused with %v", err)
		}
	}
}
