package httpjson

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"strconv"
	"strings"
	"time"

	"connectrpc.com/vanguard"
	"github.com/klauspost/compress/gzhttp"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	"jointledger/internal/rpc"
	"jointledger/proto/openapi"
)

// Options say who may call from where.
type Options struct {
	// Origins are those whose pages may call from a browser, such as
	// `https://board.example.com`; none unless named.
	Origins []string
	// LocalOnly takes no request that names a host other than this machine. A listener
	// on loopback that asks for no credential needs it: a page from elsewhere could give
	// its own name the address 127.0.0.1.
	LocalOnly bool
}

// reflectionServices begins the services that are for gRPC's tools alone.
const reflectionServices = "grpc.reflection."

// timeoutHeader is the Connect protocol's: milliseconds.
const timeoutHeader = "Connect-Timeout-Ms"

// handler lets through what is a call, within its bounds.
type handler struct {
	methods map[string]method
	calls   http.Handler
	browser browser
	local   bool
	longest func(method string, given bool) time.Duration
	// large holds a place for each large body that is in memory.
	large chan struct{}
}

// method is a call's request, and which sides are streams.
type method struct {
	request        protoreflect.MessageType
	client, server bool
}

func (m method) stream() bool { return m.client || m.server }

// New answers the calls of a server; an error is an origin that is none, or a service
// that the API's definition does not know.
func New(server *rpc.Server, o Options) (http.Handler, error) {
	h := &handler{methods: map[string]method{}, local: o.LocalOnly, longest: server.Longest, large: make(chan struct{}, mostLarge)}
	if err := h.browser.allow(o.Origins); err != nil {
		return nil, err
	}
	var services []*vanguard.Service
	for _, name := range server.Services() {
		if strings.HasPrefix(name, reflectionServices) {
			continue
		}
		found, err := protoregistry.GlobalFiles.FindDescriptorByName(protoreflect.FullName(name))
		if err != nil {
			return nil, fmt.Errorf("service %s: %w", name, err)
		}
		schema, ok := found.(protoreflect.ServiceDescriptor)
		if !ok {
			return nil, fmt.Errorf("%s is no service", name)
		}
		for i := range schema.Methods().Len() {
			m := schema.Methods().Get(i)
			request, err := protoregistry.GlobalTypes.FindMessageByName(m.Input().FullName())
			if err != nil {
				return nil, fmt.Errorf("method %s: %w", m.FullName(), err)
			}
			h.methods["/"+name+"/"+string(m.Name())] = method{request, m.IsStreamingClient(), m.IsStreamingServer()}
		}
		services = append(services, vanguard.NewServiceWithSchema(schema, server.Handler()))
	}
	var err error
	h.calls, err = vanguard.NewTranscoder(services, vanguard.WithCodec(jsonCodec), vanguard.WithDefaultServiceOptions(
		vanguard.WithTargetProtocols(vanguard.ProtocolGRPC), vanguard.WithTargetCodecs(vanguard.CodecProto),
		vanguard.WithNoTargetCompression(), vanguard.WithMaxMessageBufferBytes(maxMessageBytes)))
	if err != nil {
		return nil, err
	}
	return timed(gzhttp.GzipHandler(h)), nil
}

// jsonCodec gives every field that has a value by itself, also when it is zero, and
// refuses a field that does not exist: it is a slip of the pen.
func jsonCodec(types vanguard.TypeResolver) vanguard.Codec {
	return &vanguard.JSONCodec{
		MarshalOptions:   protojson.MarshalOptions{Resolver: types, EmitDefaultValues: true},
		UnmarshalOptions: protojson.UnmarshalOptions{Resolver: types},
	}
}

// ServeHTTP answers one request.
func (h *handler) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	for name, value := range secure {
		w.Header().Set(name, value)
	}
	if h.local && !onThisMachine(r.Host) {
		refuse(w, http.StatusMisdirectedRequest, "permission_denied", fmt.Sprintf("this listener is for this machine alone, and %q may be a name that somebody else gave it; call 127.0.0.1 or localhost", r.Host))
		return
	}
	if done := h.browser.admit(w, r); done {
		return
	}
	m, known := h.methods[r.URL.Path]
	switch {
	case r.URL.RawPath != "" && known: // a slash or a letter in disguise
		refuse(w, http.StatusNotFound, "unimplemented", "write the path without percent signs")
	case known:
		h.call(w, r, m)
	case r.URL.Path == "/openapi.json":
		describe(w, r)
	default:
		refuse(w, http.StatusNotFound, "unimplemented", "there is no such method; GET /openapi.json lists them all")
	}
}

// secure are headers of every answer: it is data, for nobody else's page, not to be kept.
var secure = map[string]string{
	"Cache-Control":                "no-store",
	"Content-Security-Policy":      "default-src 'none'; frame-ancestors 'none'",
	"Cross-Origin-Resource-Policy": "same-origin",
	"Referrer-Policy":              "no-referrer",
	"X-Content-Type-Options":       "nosniff",
}

// describe answers with the description of the API, which is no secret.
func describe(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		refuse(w, http.StatusMethodNotAllowed, "unimplemented", "the description is read with GET")
		return
	}
	w.Header().Set("Content-Type", "application/json")
	w.Header().Set("Content-Length", strconv.Itoa(len(openapi.Document)))
	_, _ = w.Write(openapi.Document)
}

// call hands a request to the transcoder, when it is a call.
func (h *handler) call(w http.ResponseWriter, r *http.Request, m method) {
	if r.Method != http.MethodPost {
		w.Header().Set("Allow", http.MethodPost)
		refuse(w, http.StatusMethodNotAllowed, "unimplemented", "every method is called with POST")
		return
	}
	form := takeType(r.Header, m)
	if form == notTaken {
		refuse(w, http.StatusUnsupportedMediaType, "invalid_argument", "send a body of Content-Type application/json")
		return
	}
	if !h.bound(r) {
		refuse(w, http.StatusBadRequest, "invalid_argument", timeoutHeader+" must be a number of milliseconds above 0")
		return
	}
	if status, problem := openBody(w, r, m); problem != "" {
		refuse(w, status, codeOf(status), problem)
		return
	}
	cleanHeaders(r.Header)
	if form == framesAsTheyAre {
		h.answer(w, r)
		return
	}
	body, done, wrong := h.read(r, m)
	if wrong != nil {
		refuse(w, wrong.status, wrong.code, wrong.message)
		return
	}
	defer done()
	r.Body, r.ContentLength = io.NopCloser(bytes.NewReader(body)), int64(len(body))
	if !m.stream() {
		h.answer(w, r)
		return
	}
	// The requests are all there, so HTTP/1.1 is as good as HTTP/2, which the
	// transcoder wants where both sides are streams.
	r = r.Clone(r.Context())
	r.Proto, r.ProtoMajor, r.ProtoMinor = "HTTP/2", 2, 0
	out := &lines{ResponseWriter: w, kind: "application/json"}
	if m.server {
		out.kind = "application/x-ndjson"
	}
	h.calls.ServeHTTP(out, r)
	out.finish()
}

// answer makes a call whose answer goes out as the transcoder has it.
func (h *handler) answer(w http.ResponseWriter, r *http.Request) {
	out := &retryWriter{ResponseWriter: w}
	h.calls.ServeHTTP(out, r)
	out.finish()
}

// form is how requests and answers are written.
type form int

const (
	notTaken form = iota
	// asJSON is JSON: one object, or several in a stream.
	asJSON
	// framesAsTheyAre is what clients of the Connect protocol send besides.
	framesAsTheyAre
)

// cleanHeaders takes away what means something to gRPC and nothing here, and cookies,
// which nothing here knows.
func cleanHeaders(h http.Header) {
	for name := range h {
		if strings.HasPrefix(name, "Grpc-") || strings.HasSuffix(name, "-Bin") {
			delete(h, name)
		}
	}
	h.Del("Cookie")
	h.Del("Accept-Encoding") // gzhttp has seen to it
}

// takeType looks at what is sent. The Connect protocol's own header may be left out.
func takeType(header http.Header, m method) form {
	if len(header["Content-Type"]) != 1 {
		return notTaken
	}
	kind := mediaType(header.Get("Content-Type"))
	switch {
	case kind == "application/json", kind == "application/x-ndjson" && m.stream():
		header.Set("Content-Type", "application/json")
		if m.stream() {
			header.Set("Content-Type", "application/connect+json")
			header.Del("Connect-Content-Encoding")
		}
		header.Set("Connect-Protocol-Version", "1")
		return asJSON
	case kind == "application/proto" && !m.stream():
		header.Set("Connect-Protocol-Version", "1")
		return framesAsTheyAre
	case m.stream() && (kind == "application/connect+json" || kind == "application/connect+proto"):
		return framesAsTheyAre
	}
	return notTaken
}

// bound gives the call the time that one over gRPC would have.
func (h *handler) bound(r *http.Request) bool {
	text := r.Header.Get(timeoutHeader)
	given, err := strconv.ParseInt(text, 10, 64)
	if text != "" && (err != nil || given <= 0) {
		return false
	}
	longest := h.longest(r.URL.Path, text != "").Milliseconds()
	switch {
	case longest == 0: // as long as its client wants
	case text == "" || given > longest:
		r.Header.Set(timeoutHeader, strconv.FormatInt(longest, 10))
	}
	return true
}
