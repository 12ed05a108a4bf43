package postgrestest

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/url"
	"os"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"
	"github.com/testcontainers/testcontainers-go"

	"hatchwright/store/postgres"
)

const (
	environmentURL   = "HATCHWRIGHT_TEST_DATABASE_URL"
	environmentImage = "HATCHWRIGHT_TEST_POSTGRES_IMAGE"
	environmentRun   = "HATCHWRIGHT_TEST_RUN" // labels the containers of one run, so that a script can find leftovers

	ownImage    = "hatchwright-postgres:latest"
	publicImage = "postgres:17-alpine"

	containerPort = "5432/tcp"

	// startLimit bounds the start of a server, which takes a second or two; a
	// busy machine gets plenty more.
	startLimit = 2 * time.Minute
)

// server is the one of this test program.
type server struct {
	url       *url.URL
	container testcontainers.Container // nil for a server from outside
	run       string                   // in every database's name
	databases atomic.Int64

	template     sync.Once
	templateName string
	templateErr  error
}

var shared struct {
	sync.Once
	server *server
	err    error
}

// Main runs a test program and then removes what the package started.
func Main(m *testing.M) int {
	code := m.Run()
	if s := shared.server; s != nil {
		if err := s.stop(); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = max(code, 1)
		}
	}
	return code
}

// Empty gives the URL of a database with nothing in it, dropped when the test
// ends.
func Empty(tb testing.TB) string {
	tb.Helper()
	return running(tb).database(tb, "")
}

// Migrated gives the URL of a database with the newest schema and no records,
// dropped when the test ends. It is a copy of one that was migrated once.
func Migrated(tb testing.TB) string {
	tb.Helper()
	s := running(tb)
	s.template.Do(func() { s.templateErr = s.makeTemplate() })
	if s.templateErr != nil {
		tb.Fatal(s.templateErr)
	}
	return s.database(tb, s.templateName)
}

func running(tb testing.TB) *server {
	tb.Helper()
	shared.Do(func() { shared.server, shared.err = start() })
	if shared.err != nil {
		tb.Fatalf(`no PostgreSQL to test with: %v

Do one of these:
  - run the whole suite with deploy/test, which finds or makes a server
  - have a Docker engine running, and run deploy/postgres-image once if it cannot pull images
  - set %s to the URL of a superuser on a server whose data does not matter`, shared.err, environmentURL)
	}
	return shared.server
}

func start() (*server, error) {
	s := &server{run: uuid.NewString()[:8]}
	if given := os.Getenv(environmentURL); given != "" {
		parsed, err := url.Parse(given)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", environmentURL, err)
		}
		s.url = parsed
		return s, s.command(fmt.Sprintf("select 1 /* %s */", s.run))
	}

	// The helper container that sweeps up after crashed tests comes from a
	// registry, which may be out of reach; Main and deploy/test sweep up.
	if _, set := os.LookupEnv("TESTCONTAINERS_RYUK_DISABLED"); !set {
		if err := os.Setenv("TESTCONTAINERS_RYUK_DISABLED", "true"); err != nil {
			return nil, err
		}
	}
	images := []string{ownImage, publicImage}
	if named := os.Getenv(environmentImage); named != "" {
		images = []string{named}
	}
	var failures []error
	for _, image := range images {
		if err := s.startContainer(image); err != nil {
			failures = append(failures, fmt.Errorf("container of %s: %w", image, err))
			continue
		}
		return s, nil
	}
	return nil, errors.Join(failures...)
}

func (s *server) startContainer(image string) (err error) {
	defer func() {
		// Without any engine testcontainers panics in places.
		if p := recover(); p != nil {
			err = fmt.Errorf("testcontainers: %v", p)
		}
	}()
	ctx, cancel := context.WithTimeout(context.Background(), startLimit)
	defer cancel()
	const user, password = "postgres", "only for tests"
	container, err := testcontainers.Run(ctx, image,
		testcontainers.WithEnv(map[string]string{"POSTGRES_USER": user, "POSTGRES_PASSWORD": password}),
		testcontainers.WithExposedPorts(containerPort),
		testcontainers.WithLabels(map[string]string{"hatchwright.test.run": os.Getenv(environmentRun)}),
		// The data is thrown away, so it need not reach the disk.
		testcontainers.WithCmd("postgres", "-c", "fsync=off", "-c", "max_connections=300"),
	)
	if container != nil {
		s.container = container // to be stopped, whatever happens
	}
	if err != nil {
		return errors.Join(err, s.stop())
	}
	addresses, err := addressesOf(ctx, container, containerPort)
	if err == nil {
		s.url, err = answering(ctx, addresses, url.UserPassword(user, password))
	}
	if err != nil {
		return errors.Join(err, s.stop())
	}
	return nil
}

// addressesOf is where the server may be reached. Which one works depends on
// where the engine and this program run: on one machine, one inside a container
// of the other, or neither. testcontainers' own guess comes first.
func addressesOf(ctx context.Context, c testcontainers.Container, port string) ([]string, error) {
	mapped, err := c.MappedPort(ctx, port)
	if err != nil {
		return nil, err
	}
	host, err := c.Host(ctx)
	if err != nil {
		return nil, err
	}
	addresses := []string{net.JoinHostPort(host, mapped.Port()), net.JoinHostPort("127.0.0.1", mapped.Port())}
	if inside, err := c.ContainerIP(ctx); err == nil && inside != "" {
		addresses = append(addresses, net.JoinHostPort(inside, "5432"))
	}
	return addresses, nil
}

// How long making a connection may take: while an address is tried that may be none,
// and afterwards, when a server that is slow on a busy machine is no failure.
const (
	tryTime     = 2 * time.Second
	connectTime = time.Minute
)

// answering waits for the server to answer at one of the addresses.
func answering(ctx context.Context, addresses []string, user *url.Userinfo) (*url.URL, error) {
	for {
		var failures []error
		for _, address := range addresses {
			u := &url.URL{Scheme: "postgres", User: user, Host: address, Path: "/postgres", RawQuery: fmt.Sprintf("sslmode=disable&connect_timeout=%.0f", connectTime.Seconds())}
			try, cancel := context.WithTimeout(ctx, tryTime)
			conn, err := pgx.Connect(try, u.String())
			cancel()
			if err == nil {
				return u, conn.Close(ctx)
			}
			failures = append(failures, err)
		}
		select {
		case <-ctx.Done():
			return nil, fmt.Errorf("no answer from the server: %w", errors.Join(failures...))
		case <-time.After(100 * time.Millisecond):
		}
	}
}

func (s *server) stop() error {
	var errs []error
	if s.templateName != "" && s.container == nil {
		errs = append(errs, s.command("drop database if exists "+s.templateName+" with (force)"))
	}
	if s.container != nil {
		errs = append(errs, testcontainers.TerminateContainer(s.container, testcontainers.StopTimeout(0)))
		s.container = nil
	}
	return errors.Join(errs...)
}

// command runs one statement in the server's own database.
func (s *server) command(statement string) error {
	ctx, cancel := context.WithTimeout(context.Background(), startLimit)
	defer cancel()
	conn, err := pgx.Connect(ctx, s.url.String())
	if err != nil {
		return err
	}
	_, err = conn.Exec(ctx, statement)
	return errors.Join(err, conn.Close(ctx))
}

func (s *server) name() string {
	return fmt.Sprintf("hatchwright_test_%s_%d", s.run, s.databases.Add(1))
}

func (s *server) at(database string) string {
	u := *s.url
	u.Path = "/" + database
	return u.String()
}

func (s *server) makeTemplate() error {
	name := s.name()
	if err := s.command("create database " + name); err != nil {
		return fmt.Errorf("make the template database: %w", err)
	}
	s.templateName = name
	ctx, cancel := context.WithTimeout(context.Background(), startLimit)
	defer cancel()
	db, err := postgres.Open(ctx, s.at(name))
	if err != nil {
		return fmt.Errorf("open the template database: %w", err)
	}
	_, err = db.Migrate(ctx)
	return errors.Join(err, db.Close())
}

func (s *server) database(tb testing.TB, template string) string {
	tb.Helper()
	name := s.name()
	statement := "create database " + name
	if template != "" {
		statement += " template " + template
	}
	if err := s.command(statement); err != nil {
		tb.Fatalf("make a database for the test: %v", err)
	}
	tb.Cleanup(func() {
		if err := s.command("drop database " + name + " with (force)"); err != nil {
			tb.Errorf("drop the test's database: %v", err)
		}
	})
	return s.at(name)
}
