package sqlite

import (
	"context"
	"fmt"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

type dealers struct{ *registers }

func (r dealers) Insert(ctx context.Context, scope store.Scope, d record.Dealer) error {
	what := fmt.Sprintf("insert dealer %q", d.Name)
	if err := store.Admit(what, scope.Whole(), store.CheckDealer(d)); err != nil {
		return err
	}
	return r.done(ctx, what, insert(ctx, r.write, table.Dealers, &d))
}

func (r dealers) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Dealer, error) {
	where := table.WithinDealers(narrow(), scope).Add("id = ?", id)
	d, err := find(ctx, r.read, table.Dealers, where, "")
	return d, r.done(ctx, fmt.Sprintf("get dealer %v", id), err)
}

func (r dealers) List(ctx context.Context, scope store.Scope, page store.Page) (store.Listing[record.Dealer], error) {
	where := table.WithinDealers(narrow(), scope)
	return list(ctx, r.registers, table.Dealers, where, page, store.DealerPlace(scope))
}
