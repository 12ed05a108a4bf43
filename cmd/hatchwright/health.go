package main

import (
	"context"
	"fmt"
	"net"
	"net/http"
	"time"
)

// healthTimeout is how long a service may take to say that it is ready.
const healthTimeout = 3 * time.Second

// health asks the service that runs with the same settings whether it is ready:
// what a container without a shell is asked.
func health(ctx context.Context, s streams, args []string) int {
	c, _, code := parse(s, "health", args)
	if code >= 0 {
		return code
	}
	host, port, err := net.SplitHostPort(c.Address)
	if err != nil {
		fmt.Fprintf(s.err, "hatchwright health: address %q: %v\n", c.Address, err)
		return exitUsage
	}
	if ip := net.ParseIP(host); host == "" || ip != nil && ip.IsUnspecified() {
		host = "localhost"
	}
	ctx, cancel := context.WithTimeout(ctx, healthTimeout)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, "http://"+net.JoinHostPort(host, port)+"/readyz", nil)
	if err != nil {
		fmt.Fprintf(s.err, "hatchwright health: %v\n", err)
		return exitFailure
	}
	a, err := http.DefaultClient.Do(r)
	if err != nil {
		fmt.Fprintf(s.err, "hatchwright health: %v\n", err)
		return exitFailure
	}
	defer a.Body.Close()
	if a.StatusCode != http.StatusOK {
		fmt.Fprintf(s.err, "hatchwright health: not ready, status %d\n", a.StatusCode)
		return exitFailure
	}
	fmt.Fprintln(s.out, "ready")
	return exitOK
}
