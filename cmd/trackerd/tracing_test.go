package main

import (
	"encoding/hex"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"syscall"
	"testing"

	collectorpb "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	tracepb "go.opentelemetry.io/proto/otlp/trace/v1"
	"google.golang.org/grpc/metadata"
	"google.golang.org/protobuf/proto"

	pb "jointledger/proto/jointledger/v1"
)

// collector takes spans as a collector does.
type collector struct {
	mu      sync.Mutex
	spans   []*tracepb.Span
	service string
	raw     strings.Builder
}

func (c *collector) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	c.mu.Lock()
	defer c.mu.Unlock()
	body, err := io.ReadAll(r.Body)
	var request collectorpb.ExportTraceServiceRequest
	if err == nil {
		err = proto.Unmarshal(body, &request)
	}
	if err != nil || r.URL.Path != "/v1/traces" {
		http.Error(w, "not spans", http.StatusBadRequest)
		return
	}
	c.raw.Write(body)
	for _, of := range request.ResourceSpans {
		for _, a := range of.Resource.Attributes {
			if a.Key == "service.name" {
				c.service = a.Value.GetStringValue()
			}
		}
		for _, s := range of.ScopeSpans {
			c.spans = append(c.spans, s.Spans...)
		}
	}
	w.Header().Set("Content-Type", "application/x-protobuf")
}

func TestTracesOfARunningServer(t *testing.T) {
	c := &collector{}
	web := httptest.NewServer(c)
	defer web.Close()
	const token = "not-for-any-collector-0123456789"
	p := startProgram(t, []string{"OTEL_EXPORTER_OTLP_ENDPOINT=" + web.URL, "OTEL_SERVICE_NAME=yard-server"},
		"serve", "--data", t.TempDir(), "--listen", "127.0.0.1:0")
	conn := connect(t, p.addr, nil)
	// It goes on with the trace that the client began.
	const trace, parent = "4bf92f3577b34da6a3ce929d0e0e4736", "00f067aa0ba902b7"
	ctx := metadata.AppendToOutgoingContext(t.Context(), "traceparent", "00-"+trace+"-"+parent+"-01", "x-other", token)
	if _, err := pb.NewStructureServiceClient(conn).CreateSite(ctx, &pb.CreateSiteRequest{SiteId: "HAR", Site: &pb.Site{DisplayName: "Harrow Fell", TimeZone: "UTC"}}); err != nil {
		t.Fatal(err)
	}
	p.signal(syscall.SIGTERM) // what is left is sent
	if err := p.ended(); err != nil {
		t.Fatalf("%v; %s", err, p.log)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	byName := map[string]*tracepb.Span{}
	for _, s := range c.spans {
		byName[s.Name] = s
	}
	call, write := byName["jointledger.v1.StructureService/CreateSite"], byName["database write"]
	if call == nil || write == nil {
		t.Fatalf("the spans are %v; %s", byName, p.log)
	}
	if hex.EncodeToString(call.TraceId) != trace || hex.EncodeToString(call.ParentSpanId) != parent || hex.EncodeToString(write.TraceId) != trace || hex.EncodeToString(write.ParentSpanId) != hex.EncodeToString(call.SpanId) {
		t.Errorf("they do not hang together: %v, %v", call, write)
	}
	if write.StartTimeUnixNano < call.StartTimeUnixNano || write.EndTimeUnixNano > call.EndTimeUnixNano || write.EndTimeUnixNano < write.StartTimeUnixNano {
		t.Errorf("the write is not within its call: %v, %v", call, write)
	}
	if c.service != "yard-server" {
		t.Errorf("the service is %q", c.service)
	}
	for _, secret := range []string{token, "Harrow Fell"} {
		if strings.Contains(c.raw.String(), secret) {
			t.Errorf("%q is sent to the collector", secret)
		}
	}
}
