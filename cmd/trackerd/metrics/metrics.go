package metrics

import (
	"context"
	"net/http"
	"runtime"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"google.golang.org/grpc/codes"

	"jointledger/internal/ledger"
	"jointledger/internal/store"
)

// Bounds of the histograms, in seconds: a durable write alone takes a millisecond or
// so, a question over all sites some seconds.
var (
	callBounds   = []float64{.001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30}
	commitBounds = []float64{.0005, .001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 5, 30}
	groupBounds  = []float64{1, 2, 4, 8, 16, 32, 64, 128, 256, 512}
)

// Metrics are the counters of one server. No label is a site, a person, a principal or
// a token: those would grow without end, and tell those who may only see how the server
// is what they may not read.
type Metrics struct {
	registry *prometheus.Registry
	own      []prometheus.Collector

	calls        *prometheus.CounterVec
	callSeconds  *prometheus.HistogramVec
	inFlight     prometheus.Gauge
	records      *prometheus.CounterVec
	commits      *prometheus.CounterVec
	commitTime   prometheus.Histogram
	groupSize    prometheus.Histogram
	repeats      prometheus.Counter
	transactions *prometheus.HistogramVec
	reachable    prometheus.Gauge
}

// New makes the counters of a server of the given version, which speaks the given API.
func New(version, api string) *Metrics {
	const ns = "jointledger"
	m := &Metrics{
		registry: prometheus.NewRegistry(),
		calls: prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: ns, Name: "calls_total",
			Help: "Calls that ended, by method and status code."}, []string{"method", "code"}),
		callSeconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{Namespace: ns, Name: "call_seconds", Buckets: callBounds,
			Help: "How long calls took, by method; streams to their end."}, []string{"method"}),
		inFlight: prometheus.NewGauge(prometheus.GaugeOpts{Namespace: ns, Name: "calls_in_flight",
			Help: "Calls under way, watches among them."}),
		records: prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: ns, Name: "records_total",
			Help: "Records that were answered, by kind and outcome: taken, known (sent again) or refused."}, []string{"kind", "outcome"}),
		commits: prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: ns, Name: "commits_total",
			Help: "Transactions of the writer, by result: kept or rolled_back (also where a change was refused)."}, []string{"result"}),
		commitTime: prometheus.NewHistogram(prometheus.HistogramOpts{Namespace: ns, Name: "commit_seconds", Buckets: commitBounds,
			Help: "How long the writer's transactions took to the durable commit, with their repetitions."}),
		groupSize: prometheus.NewHistogram(prometheus.HistogramOpts{Namespace: ns, Name: "commit_requests", Buckets: groupBounds,
			Help: "How many waiting requests shared a transaction of the writer."}),
		repeats: prometheus.NewCounter(prometheus.CounterOpts{Namespace: ns, Name: "commit_repeats_total",
			Help: "How often the writer ran a transaction again, since it had met another one."}),
		transactions: prometheus.NewHistogramVec(prometheus.HistogramOpts{Namespace: ns, Name: "transaction_seconds", Buckets: callBounds,
			Help: "How long callers waited for the database: kind read, or write with its time in the queue."}, []string{"kind"}),
		reachable: prometheus.NewGauge(prometheus.GaugeOpts{Namespace: ns, Name: "database_reachable",
			Help: "1 when the database answered the last time it was asked, every ten seconds; else 0."}),
	}
	build := prometheus.NewGauge(prometheus.GaugeOpts{Namespace: ns, Name: "build_info", Help: "What is running; always 1.",
		ConstLabels: prometheus.Labels{"version": version, "go": runtime.Version(), "api": api}})
	build.Set(1)
	m.reachable.Set(1)
	m.own = []prometheus.Collector{m.calls, m.callSeconds, m.inFlight, m.records, m.commits, m.commitTime, m.groupSize, m.repeats, m.transactions, m.reachable, build}
	m.registry.MustRegister(m.own...)
	m.registry.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// CertificateExpires adds when the listener's certificate runs out.
func (m *Metrics) CertificateExpires(when func() time.Time) {
	m.registry.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Namespace: "jointledger", Name: "certificate_expiry_timestamp_seconds",
		Help: "When the certificate that is shown to clients runs out, in seconds since 1970."},
		func() float64 { return float64(when().Unix()) }))
}

// Handler answers a scrape.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{MaxRequestsInFlight: 4, Timeout: 10 * time.Second})
}

// Reachable says whether the database answers.
func (m *Metrics) Reachable(yes bool) {
	m.reachable.Set(0)
	if yes {
		m.reachable.Set(1)
	}
}

// Began is told of a call's beginning.
func (m *Metrics) Began(string) { m.inFlight.Inc() }

// Ended is told of a call's end.
func (m *Metrics) Ended(method string, code codes.Code, took time.Duration) {
	m.inFlight.Dec()
	method = short(method)
	m.calls.WithLabelValues(method, code.String()).Inc()
	m.callSeconds.WithLabelValues(method).Observe(took.Seconds())
}

// short leaves the package out of `/package.v1.Service/Method`.
func short(method string) string {
	service, name, found := strings.Cut(strings.TrimPrefix(method, "/"), "/")
	if !found {
		return method
	}
	return service[strings.LastIndexByte(service, '.')+1:] + "/" + name
}

// Committed is told of each transaction of the writer.
func (m *Metrics) Committed(g store.Group) {
	result := "kept"
	if g.Err != nil {
		result = "rolled_back"
	}
	m.commits.WithLabelValues(result).Inc()
	m.repeats.Add(float64(g.Tries - 1))
	m.groupSize.Observe(float64(g.Requests))
	m.commitTime.Observe(g.Took.Seconds())
}

var outcomes = map[store.OutcomeState]string{store.Taken: "taken", store.AlreadyKnown: "known", store.Refused: "refused"}

// Recorded is told of each record that was answered.
func (m *Metrics) Recorded(kind ledger.RecordKind, state store.OutcomeState) {
	m.records.WithLabelValues(ledger.RecordKinds.Name(kind), outcomes[state]).Inc()
}

// Transaction is told what each caller waited for.
func (m *Metrics) Transaction(_ context.Context, kind string, begun time.Time, _ error) {
	m.transactions.WithLabelValues(kind).Observe(time.Since(begun).Seconds())
}

// Names are the names of the server's own metrics, without those of Go and the process.
func (m *Metrics) Names() []string {
	descriptions := make(chan *prometheus.Desc, 64)
	go func() {
		defer close(descriptions)
		for _, c := range m.own {
			c.Describe(descriptions)
		}
	}()
	var names []string
	for d := range descriptions {
		if _, rest, ok := strings.Cut(d.String(), `fqName: "`); ok {
			name, _, _ := strings.Cut(rest, `"`)
			names = append(names, name)
		}
	}
	return names
}
