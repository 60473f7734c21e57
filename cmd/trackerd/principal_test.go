package main

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/types/known/timestamppb"

	"jointledger/internal/identity"
	pb "jointledger/proto/jointledger/v1"
)

// guarded is a program with a connection to it.
type guarded struct {
	*program
	conn *grpc.ClientConn
}

func startGuarded(t *testing.T, args ...string) guarded {
	t.Helper()
	p := startProgram(t, nil, append([]string{"serve", "--listen", "127.0.0.1:0"}, args...)...)
	conn, err := grpc.NewClient(p.addr, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return guarded{p, conn}
}

// end stops it and gives its log.
func (p guarded) end() string {
	p.t.Helper()
	p.conn.Close()
	p.signal(syscall.SIGTERM)
	if err := p.ended(); err != nil {
		p.t.Errorf("%v; %s", err, p.log)
	}
	return p.log.String()
}

// server asks the program who it is, with a token or without, again until the status is
// the one that is wanted: a change counts within some seconds.
func (p guarded) server(t *testing.T, token string, want codes.Code) (*pb.Server, string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), patience)
	defer cancel()
	if token != "" {
		ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
	}
	for {
		s, err := pb.NewServerServiceClient(p.conn).GetServer(ctx, &pb.GetServerRequest{})
		if status.Code(err) == want {
			return s, status.Convert(err).Message()
		}
		if ctx.Err() != nil {
			t.Fatalf("%v; expected %s", err, want)
		}
		time.Sleep(100 * time.Millisecond)
	}
}

// operate runs a command of the operator, which must succeed.
func operate(t *testing.T, dir string, args ...string) (stdout, stderr string) {
	t.Helper()
	code, stdout, stderr := trackerd(t, append(args, "--data", dir)...)
	if code != 0 {
		t.Fatalf("%v: status %d; %s%s", args, code, stdout, stderr)
	}
	return stdout, stderr
}

var tokenLine = regexp.MustCompile(`^jl_[0-9a-v]{12}_[0-9a-v]{52}\n$`)

// The first start makes an administrator's token; who is registered then, beside the
// running server, is asked from then on; nothing of it all is in the log.
func TestPrincipalsFromTheFirstStartOn(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	p := startGuarded(t, "--data", dir, "--log-level", "debug")
	file := filepath.Join(dir, "administrator.token")
	text, err := os.ReadFile(file)
	if err != nil || !tokenLine.Match(text) {
		t.Fatalf("%q, %v", text, err)
	}
	if info, err := os.Stat(file); err != nil || info.Mode().Perm() != 0o600 {
		t.Errorf("%v, %v", info.Mode(), err)
	}
	admin := strings.TrimSpace(string(text))
	if s, _ := p.server(t, "", codes.OK); s.GetPrincipal() != "local" || s.GetTokenRequired() {
		t.Errorf("without a token: %v", s)
	}
	if s, _ := p.server(t, admin, codes.OK); s.GetPrincipal() != "administrator" || len(s.GetGrants()) != 1 || s.GetGrants()[0].GetRole() != "administrator" || !s.GetGrants()[0].GetEverywhere() {
		t.Errorf("the administrator: %v", s)
	}

	operate(t, dir, "principal", "add", "nd1", "--description", "Nessa", "--role", "technician,crib", "--everywhere")
	stdout, stderr := operate(t, dir, "token", "issue", "nd1", "--expires", "30d")
	if !tokenLine.MatchString(stdout) || strings.Contains(stderr, strings.TrimSpace(stdout)) {
		t.Fatalf("issued %q; %q", stdout, stderr)
	}
	token := strings.TrimSpace(stdout)
	id := token[3:15]
	kept := filepath.Join(t.TempDir(), "token")
	if stdout, _ := operate(t, dir, "token", "issue", "nd1", "--out", kept); stdout != "" {
		t.Errorf("printed %q", stdout)
	}
	if text, err := os.ReadFile(kept); err != nil || !tokenLine.Match(text) {
		t.Errorf("%q, %v", text, err)
	}
	if code, _, stderr := trackerd(t, "token", "issue", "nd1", "--out", kept, "--data", dir); code != 71 || !strings.Contains(stderr, "can't be written") {
		t.Errorf("over a file that is there: status %d; %s", code, stderr)
	}
	if s, _ := p.server(t, token, codes.OK); s.GetPrincipal() != "nd1" || len(s.GetGrants()) != 2 {
		t.Errorf("%v", s)
	}
	p.server(t, "", codes.Unauthenticated)
	if _, err := pb.NewStructureServiceClient(p.conn).CreateSite(metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+token),
		&pb.CreateSiteRequest{SiteId: "HAR", Site: &pb.Site{DisplayName: "Harrow Fell", Region: "north", TimeZone: "UTC"}}); status.Code(err) != codes.PermissionDenied {
		t.Errorf("a technician registered a site: %v", err)
	}
	operate(t, dir, "token", "revoke", id)
	if _, says := p.server(t, token, codes.Unauthenticated); !strings.Contains(says, "was revoked on") {
		t.Errorf("revoked: %s", says)
	}
	for _, bad := range []string{"' OR 1=1 --", "../../etc/passwd", admin[:40], strings.ToUpper(admin), "eyJhbGciOiJub25lIn0.eyJzdWIiOiJhIn0."} {
		p.server(t, bad, codes.Unauthenticated)
	}
	log := p.end()
	for _, secret := range []string{admin, token, admin[16:], token[16:], admin[:40], "eyJzdWIi"} {
		if strings.Contains(log, secret) {
			t.Errorf("the log holds %q", secret)
		}
	}
	if !strings.Contains(log, file) {
		t.Errorf("the log does not say where the token is: %s", log)
	}

	stdout, _ = operate(t, dir, "audit", "--json", "--since", "1d", "--limit", "0")
	acts := map[string]int{}
	for l := range strings.Lines(stdout) {
		var e auditLine
		if err := json.Unmarshal([]byte(l), &e); err != nil {
			t.Fatalf("%q: %v", l, err)
		}
		acts[e.Outcome+" "+e.Act]++
		if strings.Contains(l, token[16:]) || strings.Contains(l, admin[16:]) {
			t.Errorf("%q holds a token", l)
		}
	}
	for _, want := range []string{"done principal add", "done token issue", "done token revoke", "denied /jointledger.v1.StructureService/CreateSite", "unauthenticated /jointledger.v1.ServerService/GetServer"} {
		if acts[want] == 0 {
			t.Errorf("the audit record has no %s: %s", want, stdout)
		}
	}
	if stdout, _ := operate(t, dir, "audit", "--refused", "--principal", "nd1"); !strings.Contains(stdout, "may not register or change sites") || strings.Contains(stdout, "token issue") {
		t.Errorf("refusals of nd1: %s", stdout)
	}

	// A second start makes nobody, and a lost file is not made again.
	if err := os.Remove(file); err != nil {
		t.Fatal(err)
	}
	p = startGuarded(t, "--data", dir)
	p.server(t, admin, codes.OK)
	p.server(t, "", codes.Unauthenticated)
	if _, err := os.Stat(file); !os.IsNotExist(err) {
		t.Errorf("the file is there again: %v", err)
	}
}

// Of a batch, the members that its sender may not add are refused alone, and each site
// is in the audit record.
func TestRefusedMembersAreInTheAuditRecord(t *testing.T) {
	dir := t.TempDir()
	p := startGuarded(t, "--data", dir, "--ask-loopback")
	text, err := os.ReadFile(filepath.Join(dir, "administrator.token"))
	if err != nil {
		t.Fatal(err)
	}
	as := func(token string) context.Context {
		return metadata.AppendToOutgoingContext(t.Context(), "authorization", "Bearer "+strings.TrimSpace(token))
	}
	places := pb.NewStructureServiceClient(p.conn)
	for _, code := range []string{"HAR", "KVR"} {
		if _, err := places.CreateSite(as(string(text)), &pb.CreateSiteRequest{SiteId: code, Site: &pb.Site{DisplayName: code, Region: "north", TimeZone: "UTC"}}); err != nil {
			t.Fatal(err)
		}
	}
	operate(t, dir, "principal", "add", "lead", "--role", "site-lead", "--site", "har") // in any letters
	token, _ := operate(t, dir, "token", "issue", "lead")
	p.server(t, strings.TrimSpace(token), codes.OK)
	var requests []*pb.CreateTowerRequest
	for i, site := range []string{"HAR", "KVR", "HAR", "KVR"} {
		requests = append(requests, &pb.CreateTowerRequest{Parent: "sites/" + site, TowerId: "CT" + string(rune('1'+i)), Tower: &pb.Tower{Material: pb.Material_MATERIAL_316}})
	}
	r, err := places.BatchCreateTowers(as(token), &pb.BatchCreateTowersRequest{Requests: requests})
	if err != nil {
		t.Fatal(err)
	}
	for i, o := range r.GetOutcomes() {
		denied := o.GetRefusal().GetReason() == pb.ErrorReason_ERROR_REASON_PERMISSION_DENIED
		if taken := o.GetState() == pb.Outcome_STATE_TAKEN; taken != (i%2 == 0) || denied != (i%2 == 1) {
			t.Errorf("member %d: %v", i, o)
		}
	}
	if _, err := pb.NewPersonServiceClient(p.conn).CreatePerson(as(token), &pb.CreatePersonRequest{PersonId: "nd1", Person: &pb.Person{DisplayName: "Nessa", Roles: []pb.Role{pb.Role_ROLE_TECHNICIAN}}}); err != nil {
		t.Fatal(err)
	}
	signed, err := pb.NewControlServiceClient(p.conn).RecordSignOffs(as(token), &pb.RecordSignOffsRequest{SignOffs: []*pb.SignOff{{
		Name: "signOffs/" + uuid.Must(uuid.NewV7()).String(), Place: "sites/HAR/towers/CT1", Point: pb.SignOffPoint_SIGN_OFF_POINT_HOLD_POINT, Title: "casing closed",
		Entry: &pb.Entry{OccurTime: timestamppb.Now(), Person: "people/nd1"},
	}}})
	if err != nil || signed.Outcomes[0].GetRefusal().GetReason() != pb.ErrorReason_ERROR_REASON_PERMISSION_DENIED {
		t.Fatal(signed, err)
	}
	p.end()
	stdout, _ := operate(t, dir, "audit", "--refused", "--principal", "lead", "--json")
	var e, second auditLine
	lines := strings.Split(strings.TrimSpace(stdout), "\n")
	if len(lines) != 2 {
		t.Fatalf("expected two lines: %s", stdout)
	}
	if err := errors.Join(json.Unmarshal([]byte(lines[0]), &e), json.Unmarshal([]byte(lines[1]), &second)); err != nil {
		t.Fatalf("%v: %s", err, stdout)
	}
	// What a person whom the record names may not do is a refusal too.
	if second.Act != "/jointledger.v1.ControlService/RecordSignOffs" || !strings.HasPrefix(second.Detail, "nd1 has no role that may decide this") {
		t.Errorf("%s", lines[1])
	}
	if e.Object != "sites/KVR" || e.Principal != "lead" || e.Credential != token[3:15] || e.Act != "/jointledger.v1.StructureService/BatchCreateTowers" || e.Detail != "may not register or change towers, cells and joints" {
		t.Errorf("%s", stdout)
	}
}

// What is wrong with a command about principals is said, and changes nothing.
func TestPrincipalCommandsThatAreRefused(t *testing.T) {
	dir := t.TempDir()
	if code, _, stderr := trackerd(t, "principal", "list", "--data", filepath.Join(dir, "absent")); code != 69 || !strings.Contains(stderr, "there is no record here") {
		t.Errorf("nowhere: status %d; %s", code, stderr)
	}
	operate(t, dir, "migrate", "up")
	operate(t, dir, "principal", "add", "nd1")
	_, stderr := operate(t, dir, "principal", "grant", "nd1", "--role", "quality", "--region", "nroth")
	if !strings.Contains(stderr, `no site is in region "nroth" now`) {
		t.Errorf("an empty region: %s", stderr)
	}
	stdout, _ := operate(t, dir, "token", "accept", "nd1", "--certificate", "dns:tablet-3.example")
	id := strings.Fields(stdout)[1]
	for _, c := range []struct {
		args []string
		says string
	}{
		{[]string{"principal", "add"}, "accepts 1 arg"},
		{[]string{"principal", "add", "nd1"}, "`trackerd principal grant` gives it more roles"},
		{[]string{"principal", "add", "local"}, "the server's own word"},
		{[]string{"principal", "add", "'; DROP TABLE principals; --"}, "may have only"},
		{[]string{"principal", "add", "../nd1"}, "must start with a letter or digit"},
		{[]string{"principal", "add", "nd2", "--role", "king", "--everywhere"}, "expected one of technician, crib, site-lead"},
		{[]string{"principal", "add", "nd2", "--role", "crib"}, "and where"},
		{[]string{"principal", "grant", "nd1", "--everywhere"}, "say which role"},
		{[]string{"principal", "grant", "nd1", "--role", "crib", "--site", "' OR 1=1"}, "is not known"},
		{[]string{"principal", "grant", "nd1", "--role", "crib", "--site", ""}, "and where"},
		{[]string{"principal", "withdraw", "nd1", "--role", "crib", "--everywhere"}, "has no grant of role crib everywhere"},
		{[]string{"principal", "disable", "nd2"}, `the nearest known is "nd1"`},
		{[]string{"token", "issue", "nobody"}, "is not known"},
		{[]string{"token", "issue", "nd1", "--expires", "yesterday"}, "expected one such as 90d"},
		{[]string{"token", "issue", "nd1", "--expires", "2020-01-01"}, "is past"},
		{[]string{"token", "issue", "nd1", "--expires", "-90d"}, "expected one such as 90d"},
		{[]string{"token", "revoke", "000000000000"}, "is not known"},
		{[]string{"token", "accept", "nd1"}, "say either"},
		{[]string{"token", "accept", "nd1", "--certificate", "ip:10.0.0.1"}, "names no certificate"},
		{[]string{"token", "accept", "nd1", "--certificate", "dns:TABLET-3.example"}, "revoke credential " + id + " first"},
		{[]string{"audit", "--since", "long ago"}, "expected one such as 90d"},
	} {
		if code, stdout, stderr := trackerd(t, append(c.args, "--data", dir)...); code != 64 || !strings.Contains(stderr, c.says) || stdout != "" {
			t.Errorf("%v: status %d; %s%s", c.args, code, stdout, stderr)
		}
	}
	if stdout, _ := operate(t, dir, "principal", "list"); !strings.Contains(stdout, "quality in nroth") || strings.Count(stdout, "\n") != 2 {
		t.Errorf("%s", stdout)
	}
	if stdout, _ := operate(t, dir, "token", "list", "--principal", "nd1"); !strings.Contains(stdout, id) || !strings.Contains(stdout, "dns:tablet-3.example") {
		t.Errorf("%s", stdout)
	}
	operate(t, dir, "principal", "withdraw", "nd1", "--role", "quality", "--region", "nroth")
	operate(t, dir, "token", "revoke", id)
	operate(t, dir, "token", "revoke", id) // again changes nothing
	operate(t, dir, "token", "accept", "nd1", "--certificate", "dns:tablet-3.example")
	if stdout, _ := operate(t, dir, "principal", "list"); !strings.Contains(stdout, "none") {
		t.Errorf("%s", stdout)
	}
}

// With a token file nobody needs to be registered; with --ask-loopback everybody is
// asked from the first start on.
func TestWhoIsAskedOnLoopback(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "token")
	if err := os.WriteFile(file, []byte("0123456789abcdef\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	p := startGuarded(t, "--data", filepath.Join(dir, "filed"), "--token-file", file)
	if s, _ := p.server(t, "0123456789abcdef", codes.OK); s.GetPrincipal() != "bearer" {
		t.Errorf("%v", s)
	}
	p.server(t, "", codes.Unauthenticated)
	if stdout, _ := operate(t, filepath.Join(dir, "filed"), "principal", "list"); !strings.Contains(stdout, "no principal is registered") {
		t.Errorf("%s", stdout)
	}
	own := filepath.Join(dir, "keys", "admin")
	p = startGuarded(t, "--data", filepath.Join(dir, "asked"), "--ask-loopback", "--admin-token-file", own)
	p.server(t, "", codes.Unauthenticated)
	text, err := os.ReadFile(own)
	if err != nil {
		t.Fatal(err)
	}
	if s, _ := p.server(t, strings.TrimSpace(string(text)), codes.OK); s.GetPrincipal() != identity.FirstAdministrator {
		t.Errorf("%v", s)
	}
	// Beyond this machine everybody is asked.
	s := serveIn(t, "--data", filepath.Join(dir, "beyond"), "--listen", "0.0.0.0:0", "--allow-plaintext")
	if _, err := pb.NewServerServiceClient(s.conn).GetServer(t.Context(), &pb.GetServerRequest{}); status.Code(err) != codes.Unauthenticated {
		t.Errorf("beyond this machine: %v", err)
	}
	for _, args := range [][]string{{"--oidc-issuer", "https://login.example"}, {"--oidc-issuer", "http://login.example", "--oidc-audience", "x"}} {
		if code, _, stderr := trackerd(t, append([]string{"serve", "--listen", "127.0.0.1:0", "--data", filepath.Join(dir, "none")}, args...)...); code != 78 || !strings.Contains(stderr, "issuer") {
			t.Errorf("%v: status %d; %s", args, code, stderr)
		}
	}
}
