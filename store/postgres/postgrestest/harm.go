package postgrestest

import (
	"context"
	"errors"
	"net/url"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
)

// Own tells whether the server is a container of this test program's alone, which may
// be crashed and killed. A test has asked for a database before.
func Own() bool { return shared.server != nil && shared.server.container != nil }

var errShared = errors.New("the server is not this test program's own")

// Terminate ends all connections to a database, as an administrator may at any time.
func Terminate(ctx context.Context, database string) error {
	u, err := url.Parse(database)
	if err != nil {
		return err
	}
	conn, err := pgx.Connect(ctx, shared.server.url.String())
	if err != nil {
		return err
	}
	_, err = conn.Exec(ctx, "select pg_terminate_backend(pid) from pg_stat_activity where datname = $1", strings.TrimPrefix(u.Path, "/"))
	return errors.Join(err, conn.Close(ctx))
}

// Crash ends a process of the server by SIGKILL: the server ends all others, throws its
// shared memory away and recovers from its log. It returns when the server answers again.
func Crash(ctx context.Context) error {
	if !Own() {
		return errShared
	}
	conn, err := pgx.Connect(ctx, shared.server.url.String())
	if err != nil {
		return err
	}
	// The shell that the server starts is a child of the process that serves this
	// connection, which is so killed: no answer comes.
	_, err = conn.Exec(ctx, "copy (select 1) to program 'kill -9 $PPID'")
	_ = conn.Close(ctx)
	if err == nil {
		return errors.New("the process that was killed answered")
	}
	_, err = answering(ctx, []string{shared.server.url.Host}, shared.server.url.User)
	return err
}

// Kill kills the whole server, as a power cut does, and starts it again on the same
// data. It returns the address at which it answers then, which may be another one.
func Kill(ctx context.Context) (address string, err error) {
	if !Own() {
		return "", errShared
	}
	s := shared.server
	var atOnce time.Duration
	if err := s.container.Stop(ctx, &atOnce); err != nil {
		return "", err
	}
	if err := s.container.Start(ctx); err != nil {
		return "", err
	}
	addresses, err := addressesOf(ctx, s.container, containerPort)
	if err != nil {
		return "", err
	}
	u, err := answering(ctx, addresses, s.url.User)
	if err != nil {
		return "", err
	}
	s.url = u
	return u.Host, nil
}
