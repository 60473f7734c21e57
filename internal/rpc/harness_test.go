package rpc_test

import (
	"bytes"
	"context"
	"log/slog"
	"net"
	"sync"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/test/bufconn"

	"jointledger/internal/access"
	"jointledger/internal/rpc"
	pb "jointledger/proto/jointledger/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// probe is a service whose one method does what a test wants.
type probe struct {
	pb.UnimplementedPersonServiceServer
	get func(context.Context, *pb.GetPersonRequest) (*pb.Person, error)
}

func (p probe) GetPerson(ctx context.Context, r *pb.GetPersonRequest) (*pb.Person, error) {
	return p.get(ctx, r)
}

// streamProbe is a service whose streams do what a test wants.
type streamProbe struct {
	pb.UnimplementedAttachmentServiceServer
	download func(context.Context) error
}

func (p streamProbe) DownloadAttachment(_ *pb.DownloadAttachmentRequest, s grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error {
	return p.download(s.Context())
}

func (p streamProbe) UploadAttachment(s grpc.ClientStreamingServer[pb.UploadAttachmentRequest, pb.AttachmentInfo]) error {
	return p.download(s.Context())
}

// logBuffer is a log that may be written and read at once.
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

// bearer is who shows the token of a server that asks for one.
var bearer = &access.Principal{Name: "bearer", Grants: access.Local.Grants}

type fixture struct {
	server *rpc.Server
	conn   *grpc.ClientConn
	people pb.PersonServiceClient
	files  pb.AttachmentServiceClient
	log    *logBuffer
}

func serve(t *testing.T, token string, get func(context.Context, *pb.GetPersonRequest) (*pb.Person, error)) fixture {
	t.Helper()
	return serveAll(t, token, get, nil)
}

// serveAll serves a unary method and streams.
func serveAll(t *testing.T, token string, get func(context.Context, *pb.GetPersonRequest) (*pb.Person, error), download func(context.Context) error) fixture {
	t.Helper()
	who := rpc.EverybodyIsLocal
	if token != "" {
		who = rpc.OneToken(token, bearer)
	}
	return serveConfig(t, rpc.Config{Authenticate: who}, get, download)
}

// serveConfig serves as the configuration says; the log and the services are added.
func serveConfig(t *testing.T, c rpc.Config, get func(context.Context, *pb.GetPersonRequest) (*pb.Person, error), download func(context.Context) error) fixture {
	t.Helper()
	f := fixture{log: &logBuffer{}}
	c.Logger = slog.New(slog.NewTextHandler(f.log, &slog.HandlerOptions{Level: slog.LevelDebug}))
	c.Register = func(r grpc.ServiceRegistrar) {
		pb.RegisterPersonServiceServer(r, probe{get: get})
		pb.RegisterAttachmentServiceServer(r, streamProbe{download: download})
	}
	var err error
	f.server, err = rpc.NewServer(c)
	if err != nil {
		t.Fatal(err)
	}
	l := bufconn.Listen(1 << 20)
	served := make(chan error, 1)
	go func() { served <- f.server.Serve(l) }()
	f.conn, err = grpc.NewClient("passthrough:///bufconn",
		grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return l.DialContext(ctx) }),
		grpc.WithTransportCredentials(insecure.NewCredentials()),
		grpc.WithDefaultCallOptions(grpc.MaxCallSendMsgSize(64<<20)))
	if err != nil {
		t.Fatal(err)
	}
	f.people, f.files = pb.NewPersonServiceClient(f.conn), pb.NewAttachmentServiceClient(f.conn)
	t.Cleanup(func() {
		f.conn.Close()
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
		defer cancel()
		f.server.Stop(ctx)
		if err := <-served; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	return f
}

func answer(name string) func(context.Context, *pb.GetPersonRequest) (*pb.Person, error) {
	return func(context.Context, *pb.GetPersonRequest) (*pb.Person, error) { return &pb.Person{Name: name}, nil }
}
