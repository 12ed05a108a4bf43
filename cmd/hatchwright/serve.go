package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"sync"
	"time"

	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracehttp"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	semconv "go.opentelemetry.io/otel/semconv/v1.26.0"
	"go.opentelemetry.io/otel/trace"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/store"
	"hatchwright/store/sqlite"
)

// Program is the wired service: store, use cases, API. Tests start it on port 0.
type Program struct {
	config Config
	log    *slog.Logger
	store  store.Store
	svc    *service.Service
	api    *api.API
	server *http.Server
	traces *sdktrace.TracerProvider // nil when tracing is off

	// Where says which store it runs on, without its secrets.
	Where string
	// ShopKey is the key made on a first start; empty otherwise.
	ShopKey string
	// keyFile is where that key was written to; empty when it was not.
	keyFile string
	// DemoKeys are the demo scenario's keys; nil without demo.
	DemoKeys []service.DemoKey
}

// NewProgram opens and migrates the store, prepares the shop's documents and
// wires the API. The caller closes it.
func NewProgram(ctx context.Context, c Config, log *slog.Logger) (p *Program, err error) {
	return newProgram(ctx, c, log, false)
}

// newProgram is NewProgram that, if it is to, writes the key of a first start into the
// configuration's file.
func newProgram(ctx context.Context, c Config, log *slog.Logger, toFile bool) (p *Program, err error) {
	p = &Program{config: c, log: log}
	defer func() {
		if err != nil {
			err = errors.Join(err, p.close(context.WithoutCancel(ctx)))
		}
	}()
	var tracer trace.TracerProvider
	if c.TraceEndpoint != "" {
		exporter, err := otlptracehttp.New(ctx, otlptracehttp.WithEndpointURL(c.TraceEndpoint))
		if err != nil {
			return p, fmt.Errorf("HATCHWRIGHT_TRACE_ENDPOINT: %w", err)
		}
		p.traces = sdktrace.NewTracerProvider(sdktrace.WithBatcher(exporter),
			sdktrace.WithResource(resource.NewSchemaless(semconv.ServiceName("hatchwright"), semconv.ServiceVersion(Version))))
		tracer = p.traces
	}
	if p.store, p.Where, err = open(ctx, c); err != nil {
		return p, err
	}
	if _, err = p.store.Migrate(ctx); err != nil {
		return p, fmt.Errorf("%s: migrate: %w", p.Where, err)
	}
	hooks, err := c.webhookOptions()
	if err != nil {
		return p, err
	}
	if s, ok := p.store.(*sqlite.Store); ok {
		for _, note := range s.Notes() {
			log.Warn(note)
		}
	}
	if hooks, err = withKeyFile(hooks, c, log); err != nil {
		return p, err
	}
	people, err := c.people()
	if err != nil {
		return p, err
	}
	keep := c.retention()
	svc, err := service.New(service.Options{Store: p.store, Wire: api.Wire{}, Logger: log, Webhooks: hooks, Keep: &keep, People: people, Searches: c.Searches})
	if err != nil {
		return p, err
	}
	p.svc = svc
	made, err := svc.BootstrapTo(ctx, func(key string) (err error) {
		if toFile {
			p.keyFile, err = writeFirstKey(c.firstKeyFile(), key)
		}
		return err
	})
	if err != nil {
		return p, err
	}
	if made.ShopKey != "" && toFile {
		log.Warn("the first shop key is in a file: read it, then remove the file", "file", p.keyFile)
	}
	p.ShopKey = made.ShopKey
	if made.Freed > 0 {
		log.Info("freed idempotency keys and deliveries that a process which died had in hand", "freed", made.Freed)
	}
	tellOfSecrets(c, hooks, made.Secrets, log)
	if s, ok := p.store.(*sqlite.Store); ok && made.Secrets.Sealed > 0 {
		if err = s.Scrub(ctx); err != nil {
			return p, err
		}
	}
	if c.Demo {
		if p.DemoKeys, err = svc.LoadDemo(ctx); err != nil {
			return p, fmt.Errorf("demo scenario: %w", err)
		}
	}
	rates, err := c.rates()
	if err != nil {
		return p, err
	}
	p.api, err = api.New(api.Options{Service: svc, Logger: log, Origins: c.Origins, RequestTimeout: c.RequestTimeout, Tracer: tracer, Rates: rates})
	if err != nil {
		return p, err
	}
	p.server = p.api.Server(c.Address)
	p.server.RegisterOnShutdown(p.api.Drain) // the listener is closed by then
	return p, nil
}

// Run serves on the listener until ctx ends. Then it says that it is not ready, goes on
// serving for the configuration's delay, so that whoever balances the load hears of it,
// closes the listener, ends the streams of events, whose readers come back elsewhere,
// lets requests in flight finish, for as long as the configuration's grace, and closes
// the store. Beside it webhooks are delivered, the backlog is kept and old answers are
// swept.
func (p *Program) Run(ctx context.Context, l net.Listener) error {
	stopMetrics, err := p.serveMetrics(ctx)
	if err != nil {
		return errors.Join(err, l.Close(), p.close(context.WithoutCancel(ctx)))
	}
	defer stopMetrics()
	background, quit := context.WithCancel(context.WithoutCancel(ctx))
	defer quit()
	var beside sync.WaitGroup
	for _, work := range []func(context.Context){p.svc.Housekeeping, p.svc.DeliverWebhooks, p.svc.KeepBacklog} {
		beside.Go(func() { work(background) })
	}
	failed := make(chan error, 1)
	go func() { failed <- p.server.Serve(l) }()
	select {
	case err = <-failed:
	case <-ctx.Done():
		p.log.Info("not ready any more; a second signal stops at once", "drain_delay", p.config.DrainDelay)
		p.api.Unready()
		select {
		case err = <-failed:
			failed <- err // it is asked for again below
		case <-time.After(p.config.DrainDelay):
		}
		p.log.Info("shutting down", "grace", p.config.ShutdownGrace)
		grace, cancel := context.WithTimeout(context.WithoutCancel(ctx), p.config.ShutdownGrace)
		defer cancel()
		if err = p.server.Shutdown(grace); err != nil {
			err = fmt.Errorf("requests were still running after %v: %w", p.config.ShutdownGrace, errors.Join(err, p.server.Close()))
		}
		if ended := <-failed; err == nil {
			err = ended // http.ErrServerClosed, or why it ended before it was asked to
		}
	}
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	p.api.Drain() // streams end, however the server came to its end
	quit()
	beside.Wait()
	return errors.Join(err, p.close(context.WithoutCancel(ctx)))
}

// metricsTime is what asking for metrics may take on their own address.
const metricsTime = 10 * time.Second

// serveMetrics serves metrics on their own address, where the configuration has one:
// until stop, so that the end of the service is seen too.
func (p *Program) serveMetrics(ctx context.Context) (stop func(), err error) {
	if p.config.MetricsAddress == "" {
		return func() {}, nil
	}
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", p.config.MetricsAddress)
	if err != nil {
		return nil, fmt.Errorf("metrics: %w", err)
	}
	p.log.Info("metrics", "address", l.Addr().String())
	pages := http.NewServeMux()
	pages.Handle("GET /metrics", p.api.Metrics())
	server := &http.Server{Handler: pages, ReadTimeout: metricsTime, WriteTimeout: metricsTime, MaxHeaderBytes: 16 << 10}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(l) }()
	return func() {
		err := server.Close()
		if served := <-ended; !errors.Is(served, http.ErrServerClosed) {
			err = errors.Join(err, served)
		}
		if err != nil {
			p.log.Error("metrics", "error", err)
		}
	}, nil
}

func (p *Program) close(ctx context.Context) error {
	var faults []error
	if p.traces != nil {
		flush, cancel := context.WithTimeout(ctx, 5*time.Second)
		defer cancel()
		faults = append(faults, p.traces.Shutdown(flush))
	}
	if p.store != nil {
		faults = append(faults, p.store.Close())
	}
	return errors.Join(faults...)
}

func logger(w io.Writer, level string) *slog.Logger {
	var l slog.Level
	if err := l.UnmarshalText([]byte(level)); err != nil {
		l = slog.LevelInfo
	}
	return slog.New(slog.NewJSONHandler(w, &slog.HandlerOptions{Level: l}))
}

func serve(ctx context.Context, s streams, args []string) int {
	c, flags, code := parse(s, "serve", args)
	if code >= 0 {
		return code
	}
	if flags.NArg() > 0 {
		fmt.Fprintf(s.err, "hatchwright serve: %q is left over: serve takes flags only\n", flags.Arg(0))
		return exitUsage
	}
	toFile := c.FirstKeyFile != "" || !onTerminal(s.out)
	p, err := newProgram(ctx, c, logger(s.err, c.LogLevel), toFile)
	if p != nil && p.ShopKey != "" && !toFile { // first of all: it is there from now on, whatever else fails
		fmt.Fprintf(s.out, "shop key, shown this once: %s\n", p.ShopKey)
	}
	if err != nil && ctx.Err() != nil {
		// Asked to stop before it served: nothing is half done, since what is written at a
		// start is written in transactions.
		fmt.Fprintln(s.err, "hatchwright serve: stopped while it was starting")
		return exitOK
	}
	if err != nil {
		fmt.Fprintf(s.err, "hatchwright serve: %v\n", err)
		return exitFailure
	}
	var lc net.ListenConfig
	l, err := lc.Listen(ctx, "tcp", c.Address)
	if err != nil {
		fmt.Fprintf(s.err, "hatchwright serve: %v\n", errors.Join(err, p.close(ctx)))
		return exitFailure
	}
	fmt.Fprintf(s.out, "hatchwright on http://%s, %s\n", l.Addr(), p.Where)
	if p.keyFile != "" {
		fmt.Fprintf(s.out, "first shop key: in %s; read it, then remove the file\n", p.keyFile)
	}
	for _, k := range p.DemoKeys {
		whose := k.Dealer
		if whose == "" {
			whose = "the shop"
		}
		fmt.Fprintf(s.out, "demo key of %s (%s): %s\n", whose, k.Role, k.Key)
	}
	if err := p.Run(ctx, l); err != nil {
		fmt.Fprintf(s.err, "hatchwright serve: %v\n", err)
		return exitFailure
	}
	return exitOK
}
