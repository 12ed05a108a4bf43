package api

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"strings"
	"sync/atomic"
	"time"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/labstack/echo/v4"
	"github.com/labstack/echo/v4/middleware"
	"github.com/prometheus/client_golang/prometheus"
	"go.opentelemetry.io/otel/trace"
	"go.opentelemetry.io/otel/trace/noop"

	"hatchwright/openapi"
	"hatchwright/service"
)

// Options is what the API is made of. Service is needed.
type Options struct {
	Service        *service.Service
	Logger         *slog.Logger         // nil: discarded
	Origins        []string             // storefront origins that browsers may call from; empty: none
	RequestTimeout time.Duration        // for one request; 0: DefaultTimeout
	Tracer         trace.TracerProvider // nil: no spans; traceparent is read all the same
	Rates          Rates                // how much may be asked for at once; zero: as much as anybody likes
	Registry       *prometheus.Registry // nil: one of its own, with the process' and Go's metrics
}

// DefaultTimeout is how long one request may take when nothing else is said.
const DefaultTimeout = 15 * time.Second

// largestBody is the size of the largest body that is read, bytes.
const largestBody = 1 << 20

// API is the HTTP surface: an http.Handler with a word on shutting down.
type API struct {
	*api
	echo *echo.Echo
}

// api is what the handlers share.
type api struct {
	service  *service.Service
	log      *slog.Logger
	timeout  time.Duration
	doc      *openapi3.T
	json     []byte
	told     toldSchemas
	docs     *docsPage
	metrics  *metrics
	tracer   trace.Tracer
	draining atomic.Bool
	rates    *rates

	// closing is done once the service stops: streams end then. heartbeat is how
	// often they show that they are alive, patience how long a writing to one may wait.
	closing   context.Context
	close     context.CancelFunc
	heartbeat time.Duration
	patience  time.Duration
}

// New makes the API. Errors are faults of the document or of the options.
func New(o Options) (*API, error) {
	if o.Service == nil {
		return nil, errors.New("api: a service is needed")
	}
	a := &api{service: o.Service, log: o.Logger, timeout: o.RequestTimeout, rates: newRates(o.Rates), heartbeat: heartbeat, patience: patience}
	a.closing, a.close = context.WithCancel(context.Background())
	if a.log == nil {
		a.log = slog.New(slog.DiscardHandler)
	}
	if a.timeout <= 0 {
		a.timeout = DefaultTimeout
	}
	if o.Tracer == nil {
		o.Tracer = noop.NewTracerProvider()
	}
	a.tracer = o.Tracer.Tracer("hatchwright/api")
	var err error
	if a.doc, err = openapi.Document(); err != nil {
		return nil, err
	}
	if a.json, err = openapi.JSON(); err != nil {
		return nil, err
	}
	if a.told, err = schemasTold(); err != nil {
		return nil, err
	}
	if a.docs, err = newDocsPage(a.doc.Info.Title); err != nil {
		return nil, err
	}
	if a.metrics, err = newMetrics(o.Registry); err != nil {
		return nil, err
	}

	e := echo.New()
	e.HideBanner, e.HidePort = true, true
	e.HTTPErrorHandler = a.fail
	e.IPExtractor = a.addressOf(o.Rates.Proxies)
	e.Use(identify, a.trace, a.observe, a.recover, secure)
	if len(o.Origins) > 0 {
		e.Use(middleware.CORSWithConfig(middleware.CORSConfig{
			AllowOrigins:  o.Origins,
			AllowMethods:  []string{http.MethodGet, http.MethodPost, http.MethodPut, http.MethodPatch, http.MethodDelete},
			AllowHeaders:  []string{"Authorization", "Content-Type", "Idempotency-Key", "If-Match", "If-None-Match", "Last-Event-ID", requestIDHeader, "Traceparent", "Tracestate"},
			ExposeHeaders: exposed,
			MaxAge:        int((10 * time.Minute).Seconds()),
		}))
	}
	e.Use(plainUnlessAsked, middleware.GzipWithConfig(middleware.GzipConfig{Level: gzipLevel, MinLength: gzipLeast, Skipper: uncompressed}), a.limit, a.noRoute)
	for _, r := range routes {
		handler, err := a.handler(r)
		if err != nil {
			return nil, err
		}
		e.Add(r.method, echoPath(r.path), handler)
		if r.method == http.MethodGet && r.path != eventsPath { // a stream has nothing but its body
			e.HEAD(echoPath(r.path), handler) // the server leaves the body out (RFC 9110, section 9.3.2)
		}
	}
	e.GET(assetsPath+"*", a.docs.asset)
	e.HEAD(assetsPath+"*", a.docs.asset)
	return &API{api: a, echo: e}, nil
}

// exposed are the headers of answers that a browser lets a page see, beside those
// that it always does.
var exposed = []string{"Allow", "Content-Disposition", "ETag", "Link", "Location", rateHeader, policyHeader, "Retry-After", "WWW-Authenticate", requestIDHeader}

// streams tells the request whose answer does not end by itself: nothing may
// collect it, and no time limit holds for it.
func streams(c echo.Context) bool { return c.Request().URL.Path == eventsPath }

// gzipLevel trades a little size for much less time; gzipLeast is the size, bytes,
// under which an answer fits one packet anyway.
const (
	gzipLevel = 3
	gzipLeast = 1400
)

// ServeHTTP implements http.Handler.
func (a *API) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if a.draining.Load() {
		w.Header().Set("Connection", "close") // RFC 9112, section 9.6: the next request goes elsewhere
	}
	a.echo.ServeHTTP(w, r)
}

// Unready makes /readyz answer 503 from now on, so that a load balancer stops sending
// requests before the server shuts down. What comes all the same is answered, and told
// that its connection ends.
func (a *API) Unready() { a.draining.Store(true) }

// Drain is Unready, and ends the streams of events: their readers connect again
// elsewhere.
func (a *API) Drain() {
	a.Unready()
	a.close()
}

// Timeouts of a connection: reading a header, and how long an idle one is kept.
const (
	headerTimeout = 5 * time.Second
	idleTimeout   = 2 * time.Minute
	largestHeader = 16 << 10
)

// Server returns an HTTP server for the API with the timeouts that keep slow
// clients from holding it.
func (a *API) Server(address string) *http.Server {
	return &http.Server{
		Addr: address, Handler: a,
		ReadHeaderTimeout: headerTimeout, ReadTimeout: a.timeout + headerTimeout, WriteTimeout: 2*a.timeout + headerTimeout,
		IdleTimeout: idleTimeout, MaxHeaderBytes: largestHeader,
		ErrorLog: slog.NewLogLogger(a.log.Handler(), slog.LevelWarn),
	}
}

// echoPath writes a path of the document as the router takes it.
func echoPath(path string) string {
	return strings.NewReplacer("{", ":", "}", "").Replace(path)
}

// handler finds a route's operation in the document and wraps its handler with
// what every request goes through: key, role, limits, parameters, body.
func (a *api) handler(r route) (echo.HandlerFunc, error) {
	item := a.doc.Paths.Value(r.path)
	if item == nil || item.GetOperation(r.method) == nil {
		return nil, fmt.Errorf("api: the document has no %s %s", r.method, r.path)
	}
	op, err := newOperation(a.doc, item, r)
	if err != nil {
		return nil, err
	}
	w := weigh(r)
	return func(c echo.Context) error {
		q := &call{Context: c, operation: op}
		if r.role != open {
			if err := a.admit(q, r.role, w.before()); err != nil {
				return err
			}
		}
		err := q.read()
		if over := a.charge(q, w.after(a, q, err)); over != nil {
			return over
		}
		if err != nil {
			return err
		}
		return r.handle(a, q)
	}, nil
}
