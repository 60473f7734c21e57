package httpjson_test

import (
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"slices"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/peer"

	"jointledger/internal/access"
	"jointledger/internal/httpjson"
	"jointledger/internal/ledger"
	"jointledger/internal/rpc"
	pb "jointledger/proto/jointledger/v1"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const token = "a-token-of-this-test"

// probe does what a test wants.
type probe struct {
	pb.UnimplementedPersonServiceServer
	pb.UnimplementedAttachmentServiceServer
	get      func(context.Context, *pb.GetPersonRequest) (*pb.Person, error)
	download func(grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error
	upload   func(grpc.ClientStreamingServer[pb.UploadAttachmentRequest, pb.AttachmentInfo]) error
}

func (p *probe) GetPerson(ctx context.Context, r *pb.GetPersonRequest) (*pb.Person, error) {
	if p.get == nil {
		return &pb.Person{Name: r.Name}, nil
	}
	return p.get(ctx, r)
}

func (p *probe) DownloadAttachment(_ *pb.DownloadAttachmentRequest, s grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error {
	return p.download(s)
}

func (p *probe) UploadAttachment(s grpc.ClientStreamingServer[pb.UploadAttachmentRequest, pb.AttachmentInfo]) error {
	return p.upload(s)
}

const (
	getPerson = "/jointledger.v1.PersonService/GetPerson"
	download  = "/jointledger.v1.AttachmentService/DownloadAttachment"
	upload    = "/jointledger.v1.AttachmentService/UploadAttachment"
)

type fixture struct {
	*probe
	server *httptest.Server
}

// serve serves a probe, over TLS and HTTP/2 where that is wanted.
func serve(t *testing.T, o httpjson.Options, encrypted bool) fixture {
	t.Helper()
	return serveWithin(t, rpc.Quota{}, o, encrypted)
}

// serveWithin serves a probe to callers who may ask so much.
func serveWithin(t *testing.T, q rpc.Quota, o httpjson.Options, encrypted bool) fixture {
	t.Helper()
	p := &probe{}
	core, err := rpc.NewServer(rpc.Config{
		Authenticate: rpc.OneToken(token, access.Local), Logger: slog.New(slog.DiscardHandler), Quota: q,
		Register: func(r grpc.ServiceRegistrar) {
			pb.RegisterPersonServiceServer(r, p)
			pb.RegisterAttachmentServiceServer(r, p)
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	handler, err := httpjson.New(core, o)
	if err != nil {
		t.Fatal(err)
	}
	s := httptest.NewUnstartedServer(nil)
	s.Config = httpjson.NewServer(handler, nil, slog.New(slog.DiscardHandler))
	if encrypted {
		s.EnableHTTP2 = true
		s.StartTLS()
	} else {
		s.Start()
	}
	t.Cleanup(func() {
		s.Close()
		ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
		defer cancel()
		core.Stop(ctx)
	})
	return fixture{p, s}
}

// answer is what came back.
type answer struct {
	status int
	header http.Header
	body   string
	proto  int
}

// code is that of an error.
func (a answer) code() string {
	var e struct{ Code string }
	if json.Unmarshal([]byte(a.body), &e) != nil {
		return "no JSON: " + a.body
	}
	return e.Code
}

// send sends a request with the token, as JSON unless the headers say otherwise.
func (f fixture) send(t *testing.T, method, path string, body io.Reader, headers ...string) answer {
	t.Helper()
	r, err := http.NewRequestWithContext(t.Context(), method, f.server.URL+path, body)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Authorization", "Bearer "+token)
	for i := 0; i < len(headers); i += 2 {
		switch {
		case headers[i] == "Host":
			r.Host = headers[i+1]
		case headers[i+1] == "":
			r.Header.Del(headers[i])
		default:
			r.Header.Set(headers[i], headers[i+1])
		}
	}
	got, err := f.server.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer got.Body.Close()
	text, err := io.ReadAll(got.Body)
	if err != nil {
		t.Fatal(err)
	}
	return answer{got.StatusCode, got.Header, string(text), got.ProtoMajor}
}

func (f fixture) post(t *testing.T, path, body string, headers ...string) answer {
	t.Helper()
	return f.send(t, http.MethodPost, path, strings.NewReader(body), headers...)
}

func TestCallsOverBothVersions(t *testing.T) {
	for version, encrypted := range map[int]bool{1: false, 2: true} {
		f := serve(t, httpjson.Options{}, encrypted)
		f.get = func(ctx context.Context, r *pb.GetPersonRequest) (*pb.Person, error) {
			p, _ := peer.FromContext(ctx)
			info, tls := p.AuthInfo.(credentials.TLSInfo)
			if tls != encrypted || encrypted && !info.State.HandshakeComplete {
				t.Errorf("version %d: the state of TLS does not come through: %v", version, p)
			}
			if left, ok := ctx.Deadline(); !ok || time.Until(left) > time.Minute {
				t.Errorf("version %d: the call has no deadline", version)
			}
			return &pb.Person{Name: r.Name}, nil
		}
		got := f.post(t, getPerson, `{"name": "people/nd1"}`)
		if got.status != 200 || got.proto != version || !strings.Contains(got.body, "people/nd1") || got.header.Get("Content-Type") != "application/json" {
			t.Errorf("version %d: %+v", version, got)
		}
		for name, want := range map[string]string{"X-Content-Type-Options": "nosniff", "Cache-Control": "no-store", "Access-Control-Allow-Origin": ""} {
			if got.header.Get(name) != want {
				t.Errorf("version %d: %s is %q", version, name, got.header.Get(name))
			}
		}
		if got.header.Get("X-Request-Id") == "" || got.header.Get("Date") == "" || got.header.Get("Content-Security-Policy") == "" {
			t.Errorf("version %d: %v", version, got.header)
		}
	}
}

func TestWhatIsNoCallIsRefused(t *testing.T) {
	f := serve(t, httpjson.Options{LocalOnly: true}, false)
	f.get = func(context.Context, *pb.GetPersonRequest) (*pb.Person, error) {
		t.Error("the method ran")
		return nil, nil
	}
	huge := strings.Repeat(" ", 33<<20)
	type headers = []string
	for _, c := range []struct {
		name, method, path, body string
		headers                  headers
		status                   int
		code                     string
	}{
		{"GET", "GET", getPerson, "", nil, 405, "unimplemented"},
		{"GET of the Connect protocol", "GET", getPerson + "?connect=v1&encoding=json&message={}", "", headers{"Content-Type", ""}, 405, "unimplemented"},
		{"PUT", "PUT", getPerson, "{}", nil, 405, "unimplemented"},
		{"no method", "POST", "/jointledger.v1.PersonService/Nope", "{}", nil, 404, "unimplemented"},
		{"reflection", "POST", "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo", "{}", nil, 404, "unimplemented"},
		{"dots", "POST", "/x/.." + getPerson, "{}", nil, 404, "unimplemented"},
		{"two slashes", "POST", "/" + getPerson, "{}", nil, 404, "unimplemented"},
		{"a slash in disguise", "POST", "/jointledger.v1.PersonService%2FGetPerson", "{}", nil, 404, "unimplemented"},
		{"metacharacters", "POST", "/%00%0a;{}*?#../..%2f..%5c", "{}", nil, 404, "unimplemented"},
		{"form", "POST", getPerson, "{}", headers{"Content-Type", "application/x-www-form-urlencoded"}, 415, "invalid_argument"},
		{"text", "POST", getPerson, "{}", headers{"Content-Type", "text/plain"}, 415, "invalid_argument"},
		{"gRPC", "POST", getPerson, "{}", headers{"Content-Type", "application/grpc"}, 415, "invalid_argument"},
		{"latin", "POST", getPerson, "{}", headers{"Content-Type", "application/json; charset=latin1"}, 415, "invalid_argument"},
		{"no type", "POST", getPerson, "{}", headers{"Content-Type", ""}, 415, "invalid_argument"},
		{"brotli", "POST", getPerson, "{}", headers{"Content-Encoding", "br"}, 415, "invalid_argument"},
		{"no gzip", "POST", getPerson, "{}", headers{"Content-Encoding", "gzip"}, 400, "invalid_argument"},
		{"no JSON", "POST", getPerson, `{"name":`, nil, 400, "invalid_argument"},
		{"nothing", "POST", getPerson, "", nil, 400, "invalid_argument"},
		{"two", "POST", getPerson, "{}{}", nil, 400, "invalid_argument"},
		{"a list", "POST", getPerson, "[]", nil, 400, "invalid_argument"},
		{"an unknown field", "POST", getPerson, `{"nam": "x"}`, nil, 400, "invalid_argument"},
		{"no number", "POST", getPerson, `{"name": 5}`, nil, 400, "invalid_argument"},
		{"deep", "POST", getPerson, strings.Repeat("[", 1<<20), nil, 400, "invalid_argument"},
		{"no UTF-8", "POST", getPerson, "{\"name\": \"\xff\"}", nil, 400, "invalid_argument"},
		{"too large", "POST", getPerson, huge, nil, 413, "resource_exhausted"},
		{"no time", "POST", getPerson, "{}", headers{"Connect-Timeout-Ms", "0"}, 400, "invalid_argument"},
		{"time of words", "POST", getPerson, "{}", headers{"Connect-Timeout-Ms", "1s"}, 400, "invalid_argument"},
		{"no token", "POST", getPerson, "{}", headers{"Authorization", ""}, 401, "unauthenticated"},
		{"a wrong token", "POST", getPerson, "{}", headers{"Authorization", "Bearer x"}, 401, "unauthenticated"},
		{"another host", "POST", getPerson, "{}", headers{"Host", "rebound.example.com"}, 421, "permission_denied"},
		{"a host that begins well", "POST", getPerson, "{}", headers{"Host", "127.0.0.1.example.com:80"}, 421, "permission_denied"},
		{"another page", "POST", getPerson, "{}", headers{"Origin", "https://elsewhere.example.com"}, 403, "permission_denied"},
		{"a page without an origin", "POST", getPerson, "{}", headers{"Origin", "null"}, 403, "permission_denied"},
		{"a page, as browsers say it", "POST", getPerson, "{}", headers{"Sec-Fetch-Site", "cross-site"}, 403, "permission_denied"},
		{"a stream that is no JSON", "POST", download, "{", nil, 400, "invalid_argument"},
		{"a stream without a token", "POST", download, "{}", headers{"Authorization", ""}, 401, "unauthenticated"},
		{"the description, written", "POST", "/openapi.json", "{}", nil, 405, "unimplemented"},
	} {
		got := f.send(t, c.method, c.path, strings.NewReader(c.body), c.headers...)
		if got.status != c.status || got.code() != c.code {
			t.Errorf("%s: %d, %s; expected %d, %s", c.name, got.status, got.body, c.status, c.code)
		}
		if asked := got.header.Get("WWW-Authenticate") != ""; asked != (c.status == 401) {
			t.Errorf("%s: WWW-Authenticate is there: %v", c.name, asked)
		}
		if strings.ContainsAny(got.body, "\u00a0") {
			t.Errorf("%s: the text differs from run to run: %s", c.name, got.body)
		}
	}
}

func TestHeadersThatAreTooManyOrOdd(t *testing.T) {
	f := serve(t, httpjson.Options{}, false)
	if got := f.post(t, getPerson, "{}", "X-Long", strings.Repeat("a", 64<<10)); got.status != http.StatusRequestHeaderFieldsTooLarge {
		t.Errorf("large headers: %d", got.status)
	}
	// What gRPC would trip over does not reach it.
	got := f.post(t, getPerson, "{}", "Odd-Bin", "###", "Grpc-Timeout", "soon", "Grpc-Encoding", "zip", "Cookie", "a=b", "Te", "trailers")
	if got.status != 200 {
		t.Errorf("odd headers: %+v", got)
	}
}

// A small body that unpacks to a large one is refused; one that does not is read, and the
// answer comes packed where that is understood.
func TestPackedBodies(t *testing.T) {
	f := serve(t, httpjson.Options{}, false)
	packed := func(text string) string {
		var b bytes.Buffer
		w, _ := gzip.NewWriterLevel(&b, gzip.BestSpeed)
		_, _ = w.Write([]byte(text))
		w.Close()
		return b.String()
	}
	got := f.post(t, getPerson, packed(`{"name": "people/nd1"}`), "Content-Encoding", "gzip")
	if got.status != 200 || !strings.Contains(got.body, "people/nd1") {
		t.Errorf("packed: %+v", got)
	}
	if got := f.post(t, getPerson, packed(strings.Repeat(" ", 32<<20+1)), "Content-Encoding", "gzip"); got.status != 413 {
		t.Errorf("a bomb: %+v", got)
	}
	f.get = func(context.Context, *pb.GetPersonRequest) (*pb.Person, error) {
		return &pb.Person{DisplayName: strings.Repeat("long ", 1000)}, nil
	}
	got = f.post(t, getPerson, "{}", "Accept-Encoding", "gzip")
	r, err := gzip.NewReader(strings.NewReader(got.body))
	if err != nil || got.header.Get("Content-Encoding") != "gzip" {
		t.Fatalf("the answer is not packed: %v, %v", got.header, err)
	}
	if text, err := io.ReadAll(r); err != nil || !bytes.Contains(text, []byte("long long")) {
		t.Errorf("%s, %v", text, err)
	}
}

func TestErrorsTellTheirDetails(t *testing.T) {
	f := serve(t, httpjson.Options{}, false)
	f.get = func(context.Context, *pb.GetPersonRequest) (*pb.Person, error) {
		return nil, &ledger.Error{Kind: ledger.KindNotFound, Reason: ledger.ReasonUnknownResource, Message: "not known"}
	}
	got := f.post(t, getPerson, "{}")
	var e struct {
		Code    string
		Details []struct {
			Type  string
			Debug struct{ Reason, Domain string }
		}
	}
	if err := json.Unmarshal([]byte(got.body), &e); err != nil {
		t.Fatal(err)
	}
	if got.status != 404 || e.Code != "not_found" || len(e.Details) == 0 || e.Details[0].Type != "google.rpc.ErrorInfo" || e.Details[0].Debug.Reason != "UNKNOWN_RESOURCE" {
		t.Errorf("%d: %s", got.status, got.body)
	}
}

func TestDeadlines(t *testing.T) {
	f := serve(t, httpjson.Options{}, false)
	left := make(chan time.Duration, 1)
	f.get = func(ctx context.Context, r *pb.GetPersonRequest) (*pb.Person, error) {
		end, _ := ctx.Deadline()
		left <- time.Until(end)
		if r.Name == "wait" {
			<-ctx.Done()
			return nil, ctx.Err()
		}
		return &pb.Person{}, nil
	}
	for text, most := range map[string]time.Duration{"": time.Minute, "600000": 10 * time.Minute, "9999999999": 15 * time.Minute} {
		got := f.post(t, getPerson, "{}", "Connect-Timeout-Ms", text)
		if l := <-left; got.status != 200 || l > most || l < most/2 {
			t.Errorf("%q ms: %s are left, status %d; expected about %s", text, l, got.status, most)
		}
	}
	if got := f.post(t, getPerson, `{"name": "wait"}`, "Connect-Timeout-Ms", "200"); got.status != 504 || got.code() != "deadline_exceeded" {
		t.Errorf("%+v", got)
	}
}

func TestStreamsAreLines(t *testing.T) {
	for _, encrypted := range []bool{false, true} {
		f := serve(t, httpjson.Options{}, encrypted)
		chunk := func(s grpc.ServerStreamingServer[pb.DownloadAttachmentResponse], text string) error {
			return s.Send(&pb.DownloadAttachmentResponse{Chunk: []byte(text)})
		}
		refusal := &ledger.Error{Kind: ledger.KindNotFound, Reason: ledger.ReasonUnknownResource, Message: "not known"}
		for _, c := range []struct {
			name   string
			do     func(grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error
			status int
			lines  []string
		}{
			{"two", func(s grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error {
				_ = chunk(s, "a")
				return chunk(s, strings.Repeat("b", 3<<20))
			}, 200, []string{`{"chunk":"YQ=="}`, `{"chunk":"YmJi`}},
			{"none", func(grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error { return nil }, 200, nil},
			{"broken off", func(s grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error {
				_ = chunk(s, "a")
				return refusal
			}, 200, []string{`{"chunk":"YQ=="}`, `{"error":{"code":"not_found","message":"not known","details":[`}},
			{"refused", func(grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error { return refusal }, 404, []string{`{"code":"not_found","message":"not known","details":[`}},
		} {
			f.download = c.do
			got := f.post(t, download, "{}")
			lines := slices.DeleteFunc(strings.Split(got.body, "\n"), func(l string) bool { return l == "" })
			good := got.status == c.status && len(lines) == len(c.lines)
			for i := 0; good && i < len(lines); i++ {
				good = strings.HasPrefix(lines[i], c.lines[i])
			}
			if kind := got.header.Get("Content-Type"); !good || (kind == "application/x-ndjson") != (c.status == 200) {
				t.Errorf("%s: %d, %s, %.300q", c.name, got.status, kind, got.body)
			}
		}
	}
}

func TestRequestsOfAStreamAreLines(t *testing.T) {
	f := serve(t, httpjson.Options{}, false)
	ran := 0
	f.upload = func(s grpc.ClientStreamingServer[pb.UploadAttachmentRequest, pb.AttachmentInfo]) error {
		ran++
		n := 0
		for {
			m, err := s.Recv()
			if errors.Is(err, io.EOF) {
				return s.SendAndClose(&pb.AttachmentInfo{SizeBytes: int64(n)})
			}
			if err != nil {
				return err
			}
			n += len(m.GetChunk())
		}
	}
	got := f.post(t, upload, "{\"head\": {}}\n{\"chunk\": \"YWI=\"}\n{\"chunk\": \"Yw==\"}\n", "Content-Type", "application/x-ndjson")
	if got.status != 200 || !strings.Contains(got.body, `"sizeBytes":"3"`) || got.header.Get("Content-Type") != "application/json" {
		t.Errorf("%+v", got)
	}
	// A stream that breaks off is not one that ended.
	if got := f.post(t, upload, "{\"chunk\": \"YWI=\"}\n{\"chunk\": "); got.status != 400 || ran != 1 {
		t.Errorf("the method ran %d times; %+v", ran, got)
	}
}

func TestOrigins(t *testing.T) {
	const board = "https://board.example.com"
	f := serve(t, httpjson.Options{Origins: []string{board, "http://127.0.0.1:8080"}}, false)
	if got := f.post(t, getPerson, "{}", "Origin", board, "Sec-Fetch-Site", "cross-site"); got.status != 200 || got.header.Get("Access-Control-Allow-Origin") != board || !strings.Contains(fmt.Sprint(got.header["Vary"]), "Origin") {
		t.Errorf("the named origin: %+v", got)
	}
	for _, origin := range []string{board, "https://elsewhere.example.com", "null", board + ":444", "http://board.example.com"} {
		got := f.send(t, http.MethodOptions, getPerson, nil, "Origin", origin, "Access-Control-Request-Method", "POST", "Access-Control-Request-Headers", "authorization", "Authorization", "", "Content-Type", "")
		want := ""
		if origin == board {
			want = board
		}
		if got.header.Get("Access-Control-Allow-Origin") != want || got.header.Get("Access-Control-Allow-Credentials") != "" || (want != "") != strings.Contains(got.header.Get("Access-Control-Allow-Headers"), "Authorization") {
			t.Errorf("%s: %+v", origin, got)
		}
	}
	core, err := rpc.NewServer(rpc.Config{Authenticate: rpc.EverybodyIsLocal, Register: func(grpc.ServiceRegistrar) {}})
	if err != nil {
		t.Fatal(err)
	}
	defer core.Stop(t.Context())
	for _, o := range []string{"*", "null", "", "https://*.example.com", "https://board.example.com/", "board.example.com", "file:///etc"} {
		if _, err := httpjson.New(core, httpjson.Options{Origins: []string{o}}); err == nil {
			t.Errorf("%q was taken for an origin", o)
		}
	}
}

// A client that goes away ends its call.
func TestAClientThatGoesEndsItsCall(t *testing.T) {
	f := serve(t, httpjson.Options{}, false)
	ended := make(chan struct{})
	f.download = func(s grpc.ServerStreamingServer[pb.DownloadAttachmentResponse]) error {
		defer close(ended)
		_ = s.Send(&pb.DownloadAttachmentResponse{Chunk: []byte("a")})
		<-s.Context().Done()
		return s.Context().Err()
	}
	ctx, cancel := context.WithCancel(t.Context())
	r, err := http.NewRequestWithContext(ctx, http.MethodPost, f.server.URL+download, strings.NewReader("{}"))
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/json")
	r.Header.Set("Authorization", "Bearer "+token)
	got, err := f.server.Client().Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer got.Body.Close()
	cancel()
	select {
	case <-ended:
	case <-time.After(time.Minute):
		t.Error("the call goes on")
	}
}
