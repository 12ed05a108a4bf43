package postgres_test

import (
	"context"
	"strings"
	"testing"

	"github.com/google/uuid"

	"hatchwright/service/register"
	"hatchwright/store"
	"hatchwright/store/postgres"
	"hatchwright/store/postgres/postgrestest"
)

// Near molds of a large register are found through the index of sizes, whoever asks,
// with row-level security on: by class, strip and the range of the short side, not by
// reading the register. Ten thousand rows are made in the database itself.
func TestNearMoldsUseTheIndex(t *testing.T) {
	ctx := context.Background()
	s := open(t, postgrestest.Migrated(t))
	if _, err := postgres.Raw(ctx, s, store.ShopScope(), `insert into molds (id, version, tag, part, class, fingerprint, hatch, long_side, short_side, least_radius, face, remaining_pulls, pulls, state, location, note, created_at, updated_at, strip)
		select gen_random_uuid(), 1, '', 'receiver', 'receiver/plug/flush-ledge', 'sha256:' || n, 'sha256:' || n, 400 + n % 997, 200 + n % 199, 60, '{}', 20, 0, 'ready', '', '', now(), now(), (400 + n % 997) / 10
		from generate_series(1, 10000) n`); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Pool().Exec(ctx, "analyze molds"); err != nil {
		t.Fatal(err)
	}
	b := store.MoldBounds{Class: "receiver/plug/flush-ledge", ShortLeast: 375, ShortMost: 385, LongLeast: 515, LongMost: 525}
	b.Strips = register.Bounds{LongLeast: b.LongLeast, LongMost: b.LongMost}.Strips()
	for name, scope := range map[string]store.Scope{"shop": store.ShopScope(), "dealer": store.DealerScope(uuid.Max), "house": store.HouseScope()} {
		plan, err := postgres.PlanOfNear(ctx, s, scope, b)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(plan, "molds_by_size") || strings.Contains(plan, "Seq Scan") || !strings.Contains(plan, "Index Cond") || !strings.Contains(plan, "strip = ANY") {
			t.Errorf("%s:\n%s", name, plan)
		}
	}
}
