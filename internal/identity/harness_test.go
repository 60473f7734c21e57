package identity_test

import (
	"bytes"
	"context"
	"crypto/tls"
	"log/slog"
	"net"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"jointledger/internal/access"
	"jointledger/internal/identity"
	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
	"jointledger/internal/store"
	"jointledger/internal/store/storetest"
	pb "jointledger/proto/jointledger/v1"
)

func TestMain(m *testing.M) { storetest.Main(m) }

// clock is that of the server under test; it stands still unless it is moved.
type clock struct {
	mu sync.Mutex
	at time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.at
}

func (c *clock) move(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = c.at.Add(d)
}

// whoami is a server that answers every read of a person with the name of the caller.
type whoami struct {
	pb.UnimplementedPersonServiceServer
}

func (whoami) GetPerson(ctx context.Context, r *pb.GetPersonRequest) (*pb.Person, error) {
	p, _ := access.From(ctx)
	if r.GetName() != "" {
		if err := access.AllowAt(ctx, access.SignOff, r.GetName()); err != nil {
			return nil, err
		}
	}
	return &pb.Person{Name: p.Name}, nil
}

// ListPeople answers with the sites that the caller sees.
func (whoami) ListPeople(ctx context.Context, _ *pb.ListPeopleRequest) (*pb.ListPeopleResponse, error) {
	p, _ := access.From(ctx)
	r := &pb.ListPeopleResponse{}
	for _, code := range p.Visible().Codes {
		r.People = append(r.People, &pb.Person{Name: code})
	}
	return r, nil
}

// fixture is a store with a fleet, and a server that asks who calls.
type fixture struct {
	store  *store.Store
	clock  *clock
	people pb.PersonServiceClient
	log    *logBuffer
	addr   string
}

type logBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *logBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// start serves on a listener of the machine, since certificates need one. server is its
// side of TLS; nil for none.
func start(t *testing.T, e storetest.Engine, c identity.Config, server *tls.Config) *fixture {
	t.Helper()
	s := storetest.OpenFleet(t, e.NewConfig(t))
	return serve(t, s, c, server)
}

func serve(t *testing.T, s *store.Store, c identity.Config, server *tls.Config) *fixture {
	t.Helper()
	f := &fixture{store: s, clock: &clock{at: time.Now()}, log: &logBuffer{}}
	log := slog.New(slog.NewTextHandler(f.log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	c.Now, c.Logger = f.clock.now, log
	who, err := identity.New(s, c)
	if err != nil {
		t.Fatal(err)
	}
	var options []grpc.ServerOption
	if server != nil {
		options = append(options, grpc.Creds(credentials.NewTLS(server)))
	}
	g, err := rpc.NewServer(rpc.Config{Authenticate: who.Authenticate, Audit: who.Audit, Logger: log, Options: options,
		Register: func(r grpc.ServiceRegistrar) { pb.RegisterPersonServiceServer(r, whoami{}) }})
	if err != nil {
		t.Fatal(err)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	f.addr = l.Addr().String()
	served := make(chan error, 1)
	go func() { served <- g.Serve(l) }()
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		g.Stop(ctx)
		if err := <-served; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	if server == nil {
		f.people = f.dial(t, insecure.NewCredentials())
	}
	return f
}

func (f *fixture) dial(t *testing.T, creds credentials.TransportCredentials) pb.PersonServiceClient {
	t.Helper()
	conn, err := grpc.NewClient("passthrough:///"+f.addr, grpc.WithTransportCredentials(creds))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { conn.Close() })
	return pb.NewPersonServiceClient(conn)
}

// ask calls with a bearer token, or without any, and gives whom the server took it for.
func ask(t *testing.T, people pb.PersonServiceClient, token string) (string, error) {
	t.Helper()
	ctx, cancel := context.WithTimeout(t.Context(), 60*time.Second)
	defer cancel()
	if token != "" {
		ctx = metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+token)
	}
	p, err := people.GetPerson(ctx, &pb.GetPersonRequest{})
	return p.GetName(), err
}

func (f *fixture) wantWho(t *testing.T, token, want string) {
	t.Helper()
	wantWho(t, f.people, token, want)
}

func wantWho(t *testing.T, people pb.PersonServiceClient, token, want string) {
	t.Helper()
	if got, err := ask(t, people, token); err != nil || got != want {
		t.Errorf("taken for %q, %v; expected %q", got, err, want)
	}
}

// wantRefused wants the status, with all of the words in its message.
func wantRefused(t *testing.T, people pb.PersonServiceClient, token string, code codes.Code, says string) {
	t.Helper()
	got, err := ask(t, people, token)
	if status.Code(err) != code || !bytes.Contains([]byte(status.Convert(err).Message()), []byte(says)) {
		t.Errorf("taken for %q, %v; expected %s with %q", got, err, code, says)
	}
}

const by = "the test"

// everywhere is a grant of a role for every site.
func everywhere(r access.Role) store.Grant {
	return store.Grant{Role: uint8(r), RoleWord: r.String()}
}

func (f *fixture) register(t *testing.T, name string, grants ...store.Grant) {
	t.Helper()
	if err := f.store.AddPrincipal(t.Context(), store.Principal{Name: name, Grants: grants}, by); err != nil {
		t.Fatal(err)
	}
}

// issue gives a new token and the id of its credential.
func (f *fixture) issue(t *testing.T, name string, expires time.Time) (token, id string) {
	t.Helper()
	token, c := identity.NewToken(name)
	c.ExpireTime = expires
	if err := f.store.AddCredential(t.Context(), c, by); err != nil {
		t.Fatal(err)
	}
	return token, c.ID
}

// accept registers a certificate's name or a subject, and gives the credential's id.
func (f *fixture) accept(t *testing.T, name string, kind store.CredentialKind, subject string) string {
	t.Helper()
	c := store.Credential{ID: identity.NewID(), Principal: name, Kind: kind, Subject: subject}
	if err := f.store.AddCredential(t.Context(), c, by); err != nil {
		t.Fatal(err)
	}
	return c.ID
}

func (f *fixture) revoke(t *testing.T, id string) {
	t.Helper()
	if err := f.store.RevokeCredential(t.Context(), id, by); err != nil {
		t.Fatal(err)
	}
	f.clock.move(identity.Longest)
}

// audited waits until the audit record has an entry that is wanted.
func (f *fixture) audited(t *testing.T, what string, want func(store.AuditEntry) bool) store.AuditEntry {
	t.Helper()
	deadline := time.Now().Add(60 * time.Second)
	for {
		entries, err := f.store.AuditEntries(context.Background(), store.AuditFilter{})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range entries {
			if want(e) {
				return e
			}
		}
		if time.Now().After(deadline) {
			t.Fatalf("the audit record has no entry of %s: %+v", what, entries)
		}
		time.Sleep(20 * time.Millisecond)
	}
}

func kindOf(err error) ledger.Kind {
	if err == nil {
		return 0xff
	}
	return ledger.AsError(err).Kind
}
