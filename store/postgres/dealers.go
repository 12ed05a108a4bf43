package postgres

import (
	"context"
	"fmt"

	"github.com/google/uuid"
	"github.com/jackc/pgx/v5"

	"hatchwright/service/record"
	"hatchwright/store"
)

type dealers struct{ session }

const dealerColumns = "id, name, email, created_at"

func scanDealer(r pgx.Rows) (d record.Dealer, err error) {
	err = r.Scan(&d.ID, &d.Name, &d.Email, &d.CreatedAt)
	inUTC(&d.CreatedAt)
	return d, err
}

func (r dealers) Insert(ctx context.Context, scope store.Scope, d record.Dealer) error {
	what := fmt.Sprintf("insert dealer %q", d.Name)
	if !scope.Whole() {
		return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
	}
	if err := store.CheckDealer(d); err != nil {
		return fmt.Errorf("%s: %w", what, err)
	}
	// "Do nothing" and not an error, which would end a transaction.
	n, err := exec(ctx, r, scope, "insert into dealers ("+dealerColumns+") values ($1, $2, $3, $4) on conflict do nothing",
		d.ID, d.Name, d.Email, record.Moment(d.CreatedAt))
	if err == nil && n == 0 {
		err = store.ErrConflict
	}
	return r.done(ctx, what, err)
}

func (r dealers) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (d record.Dealer, err error) {
	where := dealersWithin(scope)
	where.add("id = $?::uuid", id)
	err = r.query(ctx, scope, one(&d, scanDealer), "select "+dealerColumns+" from dealers"+where.String(), where.args...)
	return d, r.done(ctx, fmt.Sprintf("get dealer %v", id), err)
}

func (r dealers) List(ctx context.Context, scope store.Scope, page store.Page) (store.Listing[record.Dealer], error) {
	return list(ctx, r, "dealers", scope, "select "+dealerColumns+" from dealers", dealersWithin(scope), page, store.DealerPlace(scope), scanDealer,
		func(d record.Dealer) store.Position { return store.Position{CreatedAt: d.CreatedAt, ID: d.ID} })
}

// dealersWithin narrows to the dealers that a scope covers: a dealer is its own
// owner, and none is the house's.
func dealersWithin(scope store.Scope) *conditions {
	where := new(conditions)
	if scope == store.HouseScope() {
		scope = store.Scope{}
	}
	where.owned(scope, "id")
	return where
}
