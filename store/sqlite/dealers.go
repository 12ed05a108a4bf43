package sqlite

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

type dealers struct{ *registers }

const dealerColumns = "id, name, email, created_at"

func scanDealer(r row) (d record.Dealer, err error) {
	err = r.Scan(&d.ID, &d.Name, &d.Email, stamp{&d.CreatedAt})
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
	_, err := r.write.ExecContext(ctx, "insert into dealers ("+dealerColumns+") values (?, ?, ?, ?)",
		d.ID.String(), d.Name, d.Email, millis(d.CreatedAt))
	return r.done(ctx, what, err)
}

func (r dealers) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Dealer, error) {
	where := dealersWithin(scope)
	where.add("id = ?", id.String())
	d, err := scanDealer(r.read.QueryRowContext(ctx, "select "+dealerColumns+" from dealers"+where.String(), where.args...))
	return d, r.done(ctx, fmt.Sprintf("get dealer %v", id), err)
}

func (r dealers) List(ctx context.Context, scope store.Scope, page store.Page) (store.Listing[record.Dealer], error) {
	where := dealersWithin(scope)
	return list(ctx, r.registers, "dealers", "select "+dealerColumns+" from dealers", where, page, store.DealerPlace(scope), scanDealer,
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
