package api

import (
	"fmt"
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// metrics is what the API counts.
type metrics struct {
	requests *prometheus.CounterVec
	seconds  *prometheus.HistogramVec
	inFlight prometheus.Gauge
	verdicts *prometheus.CounterVec
	handler  http.Handler
}

func newMetrics(r *prometheus.Registry) (*metrics, error) {
	if r == nil {
		r = prometheus.NewRegistry()
		r.MustRegister(collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	}
	m := &metrics{
		requests: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hatchwright_http_requests_total", Help: "Requests answered, by method, route and status.",
		}, []string{"method", "route", "status"}),
		seconds: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "hatchwright_http_request_seconds", Help: "Time to answer a request, by method and route.",
			Buckets: []float64{.0005, .001, .0025, .005, .01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10},
		}, []string{"method", "route"}),
		inFlight: prometheus.NewGauge(prometheus.GaugeOpts{
			Name: "hatchwright_http_requests_in_flight", Help: "Requests being answered.",
		}),
		verdicts: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "hatchwright_verdicts_total", Help: "Configurations ruled on, by verdict.",
		}, []string{"verdict"}),
	}
	for _, c := range []prometheus.Collector{m.requests, m.seconds, m.inFlight, m.verdicts} {
		if err := r.Register(c); err != nil {
			return nil, fmt.Errorf("api: register metrics: %w", err)
		}
	}
	m.handler = promhttp.HandlerFor(r, promhttp.HandlerOpts{DisableCompression: true})
	return m, nil
}

// methods bounds the label: a method is any word that a client makes up.
var methods = map[string]bool{http.MethodGet: true, http.MethodHead: true, http.MethodPost: true, http.MethodPut: true, http.MethodPatch: true, http.MethodDelete: true, http.MethodOptions: true}

func (m *metrics) count(method, route string, status int, took time.Duration) {
	if !methods[method] {
		method = "other"
	}
	if route == "" {
		route = "none"
	}
	m.requests.WithLabelValues(method, route, strconv.Itoa(status)).Inc()
	m.seconds.WithLabelValues(method, route).Observe(took.Seconds())
}

// Metrics gives the metrics to everybody who may ask: for a listener of its own.
func (a *API) Metrics() http.Handler { return a.metrics.handler }

// getMetrics gives the metrics in the Prometheus text format.
func (a *api) getMetrics(c *call) error {
	return echo.WrapHandler(a.metrics.handler)(c.Context)
}
