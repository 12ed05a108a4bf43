package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"

	"hatchwright/api"
	"hatchwright/service"
	"hatchwright/service/derivation"
	"hatchwright/service/shop"
)

// benchRequest is an invented hatch of the usual size.
const benchRequest = `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":560,"width":410,"corner_radius":70},"lid":{"land_width":16}}`

// subject is one thing that is measured.
type subject struct {
	name  string
	call  func() error
	times []time.Duration
}

// bench measures check, derive and the HTTP round trip on the embedded store and,
// with DATABASE_URL, on PostgreSQL, all in one run, call by call in turn, so that
// whatever else the machine does falls on all alike. The ratios are against an
// echo handler that answers the derivation's bytes canned. Then the ladder of sizes of
// open work.
func bench(ctx context.Context, s streams, args []string) int {
	flags := flag.NewFlagSet("bench", flag.ContinueOnError)
	flags.SetOutput(s.err)
	rounds := flags.Int("rounds", 400, "calls of each subject")
	orders := flags.String("orders", "10,100,1000,10000", "open orders that a lead time is measured behind, ascending; ten thousand take half a minute and half a gigabyte")
	if err := flags.Parse(args); errors.Is(err, flag.ErrHelp) {
		return exitOK
	} else if err != nil {
		return exitUsage
	}
	sizes, err := sizesOf(*orders)
	if err != nil || *rounds < 1 {
		fmt.Fprintln(s.err, "hatchwright bench: -rounds is at least 1, -orders counts of 1 to 100000 with commas between")
		return exitUsage
	}
	if err := runBench(ctx, s, *rounds, sizes); err != nil {
		fmt.Fprintf(s.err, "hatchwright bench: %v\n", err)
		return exitFailure
	}
	return exitOK
}

func sizesOf(list string) ([]int, error) {
	var out []int
	for _, f := range strings.Split(list, ",") {
		n, err := strconv.Atoi(strings.TrimSpace(f))
		if err != nil || n < 1 || n > 100_000 {
			return nil, fmt.Errorf("%q is not a count of orders", f)
		}
		out = append(out, n)
	}
	return out, nil
}

func deriveBytes(e *derivation.Engine, request string, now time.Time) (derivation.Result, error) {
	r, err := api.DecodeConfiguration([]byte(request))
	if err != nil {
		return derivation.Result{}, err
	}
	return e.Derive(r, now)
}

func runBench(ctx context.Context, s streams, rounds int, sizes []int) error {
	folder, err := os.MkdirTemp("", "hatchwright-bench-")
	if err != nil {
		return err
	}
	defer func() { _ = os.RemoveAll(folder) }()
	stopping, stop := context.WithCancel(ctx)
	defer stop()

	e, err := derivation.New(shop.Example())
	if err != nil {
		return err
	}
	request, err := api.DecodeConfiguration([]byte(benchRequest))
	if err != nil {
		return err
	}
	result, err := e.Derive(request, time.Now())
	if err != nil {
		return err
	}
	due, err := service.LeadTimeOffline(e, &result, time.Now(), service.LeadTimeOptions{})
	if err != nil {
		return err
	}
	canned, err := api.Derivation(&service.Derived{Result: &result, Due: due})
	if err != nil {
		return err
	}
	subjects := []*subject{
		{name: "check, no HTTP", call: func() error { e.Check(request); return nil }},
		{name: "derive, no HTTP", call: func() error { _, err := e.Derive(request, time.Now()); return err }},
		{name: "derive and write JSON, no HTTP", call: func() error {
			r, err := e.Derive(request, time.Now())
			if err != nil {
				return err
			}
			_, err = api.Derivation(&service.Derived{Result: &r, Due: due})
			return err
		}},
	}

	plain := echo.New()
	plain.POST("/v1/derive", func(c echo.Context) error {
		if _, err := io.Copy(io.Discard, c.Request().Body); err != nil {
			return err
		}
		return c.Blob(http.StatusOK, "application/json", canned)
	})
	l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	server := &http.Server{Handler: plain, ReadHeaderTimeout: time.Minute}
	go func() { _ = server.Serve(l) }()
	defer func() { _ = server.Close() }()
	baseline := poster(ctx, "http://"+l.Addr().String(), "/v1/derive", "", http.StatusOK)
	subjects = append(subjects, &subject{name: "HTTP, canned answer", call: baseline})

	configs := []Config{{DataFile: filepath.Join(folder, "bench.db")}}
	if url := s.env["DATABASE_URL"]; url != "" {
		configs = append(configs, Config{DatabaseURL: url})
	}
	for _, c := range configs {
		d := DefaultConfig()
		d.DataFile, d.DatabaseURL = c.DataFile, c.DatabaseURL
		d.DrainDelay = 0
		d.KeyRate, d.AddressRate = 0, 0 // the calls are as fast as they can be
		p, err := NewProgram(ctx, d, slog.New(slog.DiscardHandler))
		if err != nil {
			return err
		}
		l, err := (&net.ListenConfig{}).Listen(ctx, "tcp", "127.0.0.1:0")
		if err != nil {
			return errors.Join(err, p.close(ctx))
		}
		done := make(chan error, 1)
		go func() { done <- p.Run(stopping, l) }()
		defer func() { stop(); _ = <-done }()
		if p.ShopKey == "" {
			return fmt.Errorf("%s holds keys already: give the benchmark a store of its own", p.Where)
		}
		at, store := "http://"+l.Addr().String(), "embedded"
		if d.DatabaseURL != "" {
			store = "PostgreSQL"
		}
		subjects = append(subjects,
			&subject{name: "HTTP check, " + store, call: poster(ctx, at, "/v1/check", p.ShopKey, http.StatusOK)},
			&subject{name: "HTTP derive, " + store, call: poster(ctx, at, "/v1/derive", p.ShopKey, http.StatusOK)},
			&subject{name: "HTTP keep a configuration, " + store, call: poster(ctx, at, "/v1/configurations", p.ShopKey, http.StatusCreated)},
		)
	}
	for range rounds/10 + 1 { // warm up
		for _, b := range subjects {
			if err := b.call(); err != nil {
				return fmt.Errorf("%s: %w", b.name, err)
			}
		}
	}
	for range rounds {
		for _, b := range subjects {
			begin := time.Now()
			if err := b.call(); err != nil {
				return fmt.Errorf("%s: %w", b.name, err)
			}
			b.times = append(b.times, time.Since(begin))
		}
	}
	report(s.out, subjects, rounds, len(canned))
	floors, err := benchFloors(e, sizes, max(rounds/4, 1))
	if err != nil {
		return err
	}
	reportFloors(s.out, floors)
	return nil
}

// poster returns a call that sends the benchmark's request and reads the answer.
func poster(ctx context.Context, at, path, key string, want int) func() error {
	client := &http.Client{Transport: &http.Transport{DisableCompression: true}}
	body := benchRequest
	if want == http.StatusCreated {
		body = `{"configuration":` + benchRequest + `}`
	}
	return func() error {
		r, err := http.NewRequestWithContext(ctx, http.MethodPost, at+path, strings.NewReader(body))
		if err != nil {
			return err
		}
		r.Header.Set("Content-Type", "application/json")
		if key != "" {
			r.Header.Set("Authorization", "Bearer "+key)
		}
		if want == http.StatusCreated {
			r.Header.Set("Idempotency-Key", uuid.NewString())
		}
		a, err := client.Do(r)
		if err != nil {
			return err
		}
		defer a.Body.Close()
		answer, err := io.ReadAll(a.Body)
		if err != nil {
			return err
		}
		if a.StatusCode != want {
			return fmt.Errorf("status %d: %s", a.StatusCode, answer)
		}
		return nil
	}
}

// quantile is the time that p percent of the calls took at most.
func quantile(t []time.Duration, p int) time.Duration {
	t = slices.Sorted(slices.Values(t))
	return t[(len(t)-1)*p/100]
}

func report(out io.Writer, subjects []*subject, rounds, size int) {
	var base time.Duration
	for _, b := range subjects {
		if b.name == "HTTP, canned answer" {
			base = quantile(b.times, 50)
		}
	}
	fmt.Fprintf(out, "%s %s/%s, %d cores, version %s %s\n%d calls each, in turn; the canned answer is %d bytes; ratios against it\n\n",
		runtime.Version(), runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), Version, revision(), rounds, size)
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "what\tmedian µs\t95 % µs\tratio\t")
	for _, b := range subjects {
		m := quantile(b.times, 50)
		fmt.Fprintf(w, "%s\t%.0f\t%.0f\t%.2f\t\n", b.name, float64(m.Nanoseconds())/1e3, float64(quantile(b.times, 95).Nanoseconds())/1e3, float64(m)/float64(base))
	}
	_ = w.Flush()
}
