package main

import (
	"context"
	"io"
	"net"
	"net/url"
	"strings"
	"sync"
	"sync/atomic"
	"testing"

	"hatchwright/store/postgres/postgrestest"
)

// relay stands between the program and PostgreSQL, at an address that stays when the
// server comes back at another one, and can cut every connection.
type relay struct {
	t        *testing.T
	listener net.Listener
	server   atomic.Value // its address

	mu   sync.Mutex
	open map[net.Conn]bool
}

func newRelay(t *testing.T) *relay {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	r := &relay{t: t, listener: l, open: map[net.Conn]bool{}}
	t.Cleanup(func() { l.Close(); r.cut() })
	go func() {
		for {
			from, err := l.Accept()
			if err != nil {
				return // the test is over
			}
			go r.carry(from)
		}
	}()
	return r
}

// url is the URL of a database through the relay.
func (r *relay) url(direct string) string {
	u, err := url.Parse(direct)
	if err != nil {
		r.t.Fatal(err)
	}
	r.server.Store(u.Host)
	u.Host = r.listener.Addr().String()
	return u.String()
}

func (r *relay) carry(from net.Conn) {
	defer from.Close()
	to, err := net.Dial("tcp", r.server.Load().(string))
	if err != nil {
		return // the server is away
	}
	defer to.Close()
	r.mu.Lock()
	r.open[from], r.open[to] = true, true
	r.mu.Unlock()
	defer func() {
		r.mu.Lock()
		defer r.mu.Unlock()
		delete(r.open, from)
		delete(r.open, to)
	}()
	var both sync.WaitGroup
	for _, way := range [][2]net.Conn{{from, to}, {to, from}} {
		both.Go(func() {
			_, _ = io.Copy(way[1], way[0])
			way[0].Close() // either end gone, both go
			way[1].Close()
		})
	}
	both.Wait()
}

// cut closes every connection.
func (r *relay) cut() {
	r.mu.Lock()
	defer r.mu.Unlock()
	for c := range r.open {
		c.Close()
	}
}

// harm does what a harm's name says to PostgreSQL, and returns when it answers again.
// A server that others use too only loses the connections to this database.
func (r *relay) harm(ctx context.Context, harm, database string) {
	var err error
	shared := !postgrestest.Own()
	switch harm = strings.TrimPrefix(harm, "program and "); {
	case harm == "program":
	case harm == "connections":
		r.cut()
	case harm == "backends" || shared:
		err = postgrestest.Terminate(ctx, database)
	case harm == "crash":
		err = postgrestest.Crash(ctx)
	case harm == "server":
		var address string
		if address, err = postgrestest.Kill(ctx); err == nil {
			r.server.Store(address)
		}
	}
	if err != nil {
		r.t.Errorf("%s: %v", harm, err)
	}
}
