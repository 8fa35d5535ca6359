// Package meter counts what a server does, for those who watch over many: the text
// format of Prometheus, which is what most of them read.
//
// The names are a promise like those of fields: they stay.
package meter

import (
	"net/http"
	"strconv"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// Meter counts requests. The nil Meter counts nothing.
type Meter struct {
	registry *prometheus.Registry
	http     *prometheus.HistogramVec
	sent     *prometheus.CounterVec
	calls    *prometheus.HistogramVec
}

// seconds are the upper ends of the classes of durations: a hot read takes
// microseconds, a dry run of a whole library seconds.
var seconds = []float64{0.0001, 0.0005, 0.001, 0.005, 0.01, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 10}

// New returns a meter. position and ready are asked whenever the numbers are read:
// the newest position, and whether the store answers.
func New(position func() int64, ready func() bool) *Meter {
	m := &Meter{
		registry: prometheus.NewRegistry(),
		http:     prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "proofload_http_request_duration_seconds", Help: "Time to answer a request, by method and status; its count is the number of requests.", Buckets: seconds}, []string{"method", "status"}),
		sent:     prometheus.NewCounterVec(prometheus.CounterOpts{Name: "proofload_http_sent_bytes_total", Help: "Bytes of bodies sent, by method."}, []string{"method"}),
		calls:    prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "proofload_rpc_duration_seconds", Help: "Time to answer a call, by method and code; its count is the number of calls.", Buckets: seconds}, []string{"method", "code"}),
	}
	m.registry.MustRegister(m.http, m.sent, m.calls,
		prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "proofload_store_position", Help: "Newest position of the library."}, func() float64 { return float64(position()) }),
		prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: "proofload_store_ready", Help: "1 where the store answers."}, func() float64 {
			if ready() {
				return 1
			}
			return 0
		}),
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	return m
}

// methods are those that are told apart; anything may stand in a request.
var methods = map[string]bool{"GET": true, "HEAD": true, "POST": true, "PUT": true, "PATCH": true, "DELETE": true, "OPTIONS": true}

// Request counts an answer over HTTP. A stream counts when it ends.
func (m *Meter) Request(method string, status int, sent int64, took time.Duration) {
	if m == nil {
		return
	}
	if !methods[method] {
		method = "other"
	}
	m.http.WithLabelValues(method, strconv.Itoa(status)).Observe(took.Seconds())
	m.sent.WithLabelValues(method).Add(float64(sent))
}

// Call counts an answer over gRPC, Connect or gRPC-Web. method is one that is served.
func (m *Meter) Call(method, code string, took time.Duration) {
	if m != nil {
		m.calls.WithLabelValues(method, code).Observe(took.Seconds())
	}
}

// ServeHTTP implements http.Handler: the numbers, as text.
func (m *Meter) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{DisableCompression: true}).ServeHTTP(w, r)
}
