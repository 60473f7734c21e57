package cli

import (
	"errors"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/carry/pack"
	packed "jointledger/internal/carry/section"
	"jointledger/internal/ledger"
	pb "jointledger/proto/jointledger/v1"
)

// carryServer sends the parts that a test gives it; what the real one sends is tested
// with it in testdata/script.
type carryServer struct {
	pb.UnimplementedCarryServiceServer
	parts []*pb.GetCarriedSiteResponse
	err   error
	stall bool
}

func (s *carryServer) GetCarriedSite(_ *pb.GetCarriedSiteRequest, stream grpc.ServerStreamingServer[pb.GetCarriedSiteResponse]) error {
	for _, p := range s.parts {
		if err := stream.Send(p); err != nil {
			return err
		}
	}
	if s.stall {
		<-stream.Context().Done()
	}
	return s.err
}

func (s *carryServer) start(t *testing.T) (address string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := grpc.NewServer()
	pb.RegisterCarryServiceServer(server, s)
	done := make(chan error, 1)
	go func() { done <- server.Serve(listener) }()
	t.Cleanup(func() {
		server.Stop()
		if err := <-done; err != nil && !errors.Is(err, grpc.ErrServerStopped) {
			t.Errorf("serve: %v", err)
		}
	})
	return listener.Addr().String()
}

// carriedPlan is the one section without which no data are whole.
func carriedPlan(t *testing.T, zone string) packed.Section {
	t.Helper()
	s, err := packed.OfPlan(ledger.Site{Code: "ASH", TimeZone: zone, Status: ledger.SiteActive, Units: ledger.UnitsSI}, nil)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func headOfCarried(site string, at time.Time, rules []byte, sections ...packed.Section) *pb.GetCarriedSiteResponse {
	h := &pb.CarriedHead{Site: "sites/" + site, AsOfTime: timestamppb.New(at), RulesSha256: rules}
	for _, s := range sections {
		sum := s.Sum()
		h.Sections = append(h.Sections, &pb.CarriedSectionSum{Name: s.Name, Sha256: sum[:]})
	}
	return &pb.GetCarriedSiteResponse{Part: &pb.GetCarriedSiteResponse_Head{Head: h}}
}

func carriedPart(name string, frame []byte) *pb.GetCarriedSiteResponse {
	return &pb.GetCarriedSiteResponse{Part: &pb.GetCarriedSiteResponse_Section{Section: &pb.CarriedSection{Name: name, ContentZstd: frame}}}
}

// What can't be what the server meant leaves the data that the device had.
func TestCarriedAnswerThatIsNotWhole(t *testing.T) {
	rules := packed.RulesSum()
	old, plan := carriedPlan(t, "Europe/Dublin"), carriedPlan(t, "Europe/Rome")
	head := headOfCarried("ASH", time.Now(), rules[:], plan)
	type parts = []*pb.GetCarriedSiteResponse
	for _, tc := range []struct {
		name   string
		server *carryServer
		code   int
		want   string
	}{
		{"nothing", &carryServer{}, exitInternal, "nothing came"},
		{"no head", &carryServer{parts: parts{carriedPart("site", plan.Packed())}}, exitInternal, "does not begin with what the data are of"},
		{"another site", &carryServer{parts: parts{headOfCarried("BEX", time.Now(), rules[:])}}, exitInternal, "does not begin with what the data are of"},
		{"a short sum", &carryServer{parts: parts{headOfCarried("ASH", time.Now(), rules[:9])}}, exitInternal, "a sum has 9 bytes"},
		{"no section", &carryServer{parts: parts{head}}, exitInternal, "0 of 1 part came"},
		{"a section of no name", &carryServer{parts: parts{head, carriedPart("sites", plan.Packed())}}, exitInternal, `no section "sites"`},
		{"another content", &carryServer{parts: parts{head, carriedPart("site", old.Packed())}}, exitInternal, "has another content than its sum says"},
		{"no frame", &carryServer{parts: parts{head, carriedPart("site", []byte("site"))}}, exitInternal, "can't be unpacked"},
		{"cut in mid-way", &carryServer{parts: parts{head}, err: status.Error(codes.Unavailable, "gone")}, exitUnavailable, "can't be reached"},
		{"no next part", &carryServer{parts: parts{head}, stall: true}, exitTryAgain, "did not answer within 300ms"},
		{"an older server", &carryServer{err: status.Error(codes.Unimplemented, "unknown")}, exitInternal, "does not know this call"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			folder := t.TempDir()
			env := map[string]string{envFolder: folder}
			before := &carryServer{parts: parts{headOfCarried("ASH", time.Now(), rules[:], old), carriedPart("site", old.Packed())}}
			if code, _, errOut := run(t, before.start(t), env, "carry", "ash"); code != 0 {
				t.Fatalf("exit %d, %q", code, errOut)
			}
			kept, err := os.ReadFile(pack.Path(filepath.Join(folder, "carried"), "ASH"))
			if err != nil {
				t.Fatal(err)
			}
			code, out, errOut := run(t, tc.server.start(t), env, "carry", "ash", "--timeout", "300ms")
			if code != tc.code || out != "" || !strings.Contains(errOut, tc.want) {
				t.Errorf("exit %d, out %q, err %q; expected %d, %q", code, out, errOut, tc.code, tc.want)
			}
			if after, err := os.ReadFile(pack.Path(filepath.Join(folder, "carried"), "ASH")); err != nil || string(after) != string(kept) {
				t.Errorf("what was carried before has changed (%v)", err)
			}
		})
	}
}

func TestAgeOfCarriedData(t *testing.T) {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	mine, other := packed.RulesSum(), packed.Sum{1}
	for _, tc := range []struct {
		at    time.Time
		rules packed.Sum
		want  []string
	}{
		{now.Add(-23 * time.Hour), mine, nil},
		{now.Add(time.Minute), mine, nil},
		{now.Add(-25 * time.Hour), mine, []string{"the carried data of ASH are 25 hours old; trackctl carry ASH brings new ones"}},
		{now.Add(-74 * time.Hour), mine, []string{"are 3 days old"}},
		{now.Add(26 * time.Hour), mine, []string{"of a time to come, by 26 hours"}},
		{now, other, []string{"has another table of rules than this trackctl"}},
	} {
		folder := t.TempDir()
		plan := carriedPlan(t, "Europe/Dublin")
		head := pack.Head{Site: "ASH", AsOf: tc.at, RulesSum: tc.rules, Sections: []pack.Named{{Name: plan.Name, Sum: plan.Sum()}}}
		if _, err := pack.Replace(filepath.Join(folder, "carried"), head, map[packed.Sum][]byte{plan.Sum(): plan.Packed()}); err != nil {
			t.Fatal(err)
		}
		a := &app{getenv: func(name string) string { return map[string]string{envFolder: folder}[name] }, now: func() time.Time { return now }}
		p, ok, err := a.carriedFor("ASH")
		if err != nil || !ok {
			t.Fatal(ok, err)
		}
		got := a.ageCautions(p)
		if len(got) != len(tc.want) {
			t.Errorf("data of %v: %q; expected %q", tc.at, got, tc.want)
			continue
		}
		for i, want := range tc.want {
			if !strings.Contains(got[i], want) {
				t.Errorf("data of %v: %q; expected %q", tc.at, got[i], want)
			}
		}
		p.Close() // it was only read
	}
}
