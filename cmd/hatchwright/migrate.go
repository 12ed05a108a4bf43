package main

import (
	"context"
	"fmt"

	"hatchwright/store"
	"hatchwright/store/postgres"
	"hatchwright/store/sqlite"
)

// open opens the store that the configuration names and brings its schema up to
// date. where says which, without its secrets.
func open(ctx context.Context, c Config) (st store.Store, where string, err error) {
	if c.DatabaseURL != "" {
		where = "PostgreSQL"
		s, err := postgres.Open(ctx, c.DatabaseURL)
		if err != nil {
			return nil, where, err // a nil *Store in the interface would not be nil
		}
		return s, where, nil
	}
	where = "embedded store " + c.DataFile
	s, err := sqlite.Open(ctx, c.DataFile)
	if err != nil {
		return nil, where, err
	}
	return s, where, nil
}

func migrate(ctx context.Context, s streams, args []string) int {
	c, _, code := parse(s, "migrate", args)
	if code >= 0 {
		return code
	}
	st, where, err := open(ctx, c)
	if err != nil {
		fmt.Fprintf(s.err, "hatchwright migrate: %v\n", err)
		return exitFailure
	}
	defer func() { _ = st.Close() }()
	applied, err := st.Migrate(ctx)
	if err != nil {
		fmt.Fprintf(s.err, "hatchwright migrate: %s: %v\n", where, err)
		return exitFailure
	}
	at, _, err := st.Version(ctx)
	if err != nil {
		fmt.Fprintf(s.err, "hatchwright migrate: %s: %v\n", where, err)
		return exitFailure
	}
	fmt.Fprintf(s.out, "%s: schema version %d, %d migrations applied now\n", where, at, len(applied))
	return exitOK
}
