package postgres_test

import (
	"context"
	"net/url"
	"os"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/store"
	"hatchwright/store/postgres"
	"hatchwright/store/postgres/postgrestest"
	"hatchwright/store/storetest"
)

func TestMain(m *testing.M) { os.Exit(postgrestest.Main(m)) }

func open(t testing.TB, url string) *postgres.Store {
	t.Helper()
	s, err := postgres.Open(context.Background(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// harness runs the suite on databases that fresh gives, whose URL change alters
// for the store.
func harness(change func(testing.TB, string) string) storetest.Harness {
	if change == nil {
		change = func(_ testing.TB, url string) string { return url }
	}
	urls := map[store.Store]string{}
	opened := func(t testing.TB, url string) *postgres.Store {
		s := open(t, url)
		urls[s] = url
		return s
	}
	return storetest.Harness{
		Migrated: func(t *testing.T) store.Store { return opened(t, change(t, postgrestest.Migrated(t))) },
		Empty:    func(t *testing.T) storetest.Upgradable { return opened(t, change(t, postgrestest.Empty(t))) },
		Reopen: func(t *testing.T, s store.Store) store.Store {
			if up, ok := s.(storetest.Upgradable); ok {
				s = up.(*postgres.Store)
			}
			return opened(t, urls[s])
		},
		Raw: func(ctx context.Context, s store.Store, scope store.Scope, statement string) (int64, error) {
			return postgres.Raw(ctx, s.(*postgres.Store), scope, statement)
		},
		RowSecurity: true,
	}
}

// As a superuser, whose transactions take on the bound role, with prepared
// statements.
func TestStore(t *testing.T) { storetest.Run(t, harness(nil)) }

// As behind a pooler that carries no prepared statements.
func TestStoreSimpleProtocol(t *testing.T) {
	storetest.Run(t, harness(func(t testing.TB, at string) string { return with(t, at, "default_query_exec_mode", "simple_protocol") }))
}

// As a role with no more rights than to own the database, the way a careful
// operator sets the service up: nothing is there to take on, and the owner is
// bound by row-level security itself.
func TestStoreAsOwner(t *testing.T) { storetest.Run(t, harness(asOwner)) }

func with(t testing.TB, at, parameter, value string) string {
	t.Helper()
	u, err := url.Parse(at)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set(parameter, value)
	u.RawQuery = q.Encode()
	return u.String()
}

// asOwner makes a plain role, hands it the database and everything in it, and
// gives its URL.
func asOwner(t testing.TB, at string) string {
	t.Helper()
	role := "hatchwright_test_owner_" + strings.ReplaceAll(uuid.NewString(), "-", "")
	u, err := url.Parse(at)
	if err != nil {
		t.Fatal(err)
	}
	execute(t, at,
		"create role "+role+" login password 'owner' nosuperuser nobypassrls",
		"alter database "+strings.TrimPrefix(u.Path, "/")+" owner to "+role,
		"alter schema public owner to "+role,
		`do $$ declare r record; begin
			for r in select c.relname from pg_class c where relnamespace = 'public'::regnamespace and relkind = 'r' loop
				execute format('alter table %I owner to `+role+`', r.relname);
			end loop;
			for r in select oid::regprocedure f from pg_proc where pronamespace = 'public'::regnamespace loop
				execute format('alter function %s owner to `+role+`', r.f);
			end loop;
		end $$`)
	t.Cleanup(func() {
		execute(t, at, "reassign owned by "+role+" to current_user", "drop owned by "+role, "drop role "+role)
	})
	u.User = url.UserPassword(role, "owner")
	return u.String()
}

func execute(t testing.TB, at string, statements ...string) {
	t.Helper()
	ctx := context.Background()
	conn, err := pgx.Connect(ctx, at)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close(ctx) }()
	for _, statement := range statements {
		if _, err := conn.Exec(ctx, statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
}
