package tracing

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"strings"
	"time"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/otel"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracehttp"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/grpc"
	"google.golang.org/grpc/stats"
)

// Wanted says whether the environment asks for traces, by the variables of the
// OpenTelemetry specification: an end point is named or the exporter is, and neither
// says no.
func Wanted(getenv func(string) string) bool {
	exporter := getenv("OTEL_TRACES_EXPORTER")
	if strings.EqualFold(getenv("OTEL_SDK_DISABLED"), "true") || exporter == "none" {
		return false
	}
	return exporter != "" || getenv("OTEL_EXPORTER_OTLP_ENDPOINT") != "" || getenv("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT") != ""
}

// Traces is a way for spans out of this server.
type Traces struct {
	provider *sdktrace.TracerProvider
	tracer   trace.Tracer
}

// Start makes the way that the environment describes. A collector that can't be reached
// is no error: spans are lost, and the log says so.
func Start(ctx context.Context, version string, log *slog.Logger) (*Traces, error) {
	exporter, err := newExporter(ctx)
	if err != nil {
		return nil, err
	}
	otel.SetErrorHandler(otel.ErrorHandlerFunc(func(err error) { log.Warn("traces can't be sent", "cause", err) }))
	// Later ones go before earlier ones: what the environment says counts.
	about, err := resource.New(ctx, resource.WithAttributes(
		attribute.String("service.name", "trackerd"), attribute.String("service.version", version)),
		resource.WithHost(), resource.WithFromEnv())
	if err != nil && !errors.Is(err, resource.ErrPartialResource) {
		return nil, fmt.Errorf("the environment of traces: %w", err)
	}
	provider := sdktrace.NewTracerProvider(sdktrace.WithBatcher(exporter), sdktrace.WithResource(about))
	return &Traces{provider, provider.Tracer("jointledger/internal/store")}, nil
}

func newExporter(ctx context.Context) (*otlptrace.Exporter, error) {
	if named := os.Getenv("OTEL_TRACES_EXPORTER"); named != "" && named != "otlp" {
		return nil, fmt.Errorf("OTEL_TRACES_EXPORTER is %q; expected otlp or none", named)
	}
	protocol := os.Getenv("OTEL_EXPORTER_OTLP_TRACES_PROTOCOL")
	if protocol == "" {
		protocol = os.Getenv("OTEL_EXPORTER_OTLP_PROTOCOL")
	}
	switch protocol {
	case "grpc":
		return otlptracegrpc.New(ctx)
	case "", "http/protobuf":
		return otlptracehttp.New(ctx)
	}
	return nil, fmt.Errorf("OTEL_EXPORTER_OTLP_PROTOCOL is %q; expected grpc or http/protobuf", protocol)
}

// ServerOption follows each call, but for health checks, and goes on with a trace that
// the client began.
func (t *Traces) ServerOption() grpc.ServerOption {
	return grpc.StatsHandler(otelgrpc.NewServerHandler(
		otelgrpc.WithTracerProvider(t.provider), otelgrpc.WithPropagators(propagation.TraceContext{}),
		otelgrpc.WithFilter(func(call *stats.RPCTagInfo) bool { return !strings.HasPrefix(call.FullMethodName, "/grpc.health.") })))
}

// Transaction adds a transaction that has ended to the trace of its call.
func (t *Traces) Transaction(ctx context.Context, kind string, begun time.Time, err error) {
	if !trace.SpanFromContext(ctx).IsRecording() {
		return // no call, or one that is not followed
	}
	_, span := t.tracer.Start(ctx, "database "+kind, trace.WithTimestamp(begun), trace.WithSpanKind(trace.SpanKindInternal))
	if err != nil {
		// The words of an error may hold what somebody wrote; the log has them.
		span.SetStatus(codes.Error, "")
	}
	span.End()
}

// Stop sends what is left.
func (t *Traces) Stop(ctx context.Context) error { return t.provider.Shutdown(ctx) }
