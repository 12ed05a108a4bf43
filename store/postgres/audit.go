package postgres

import (
	"context"
	"fmt"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Audit implements store.Registers.
func (r *registers) Audit() store.Audit { return audit{r} }

type audit struct{ session }

func (r audit) Append(ctx context.Context, scope store.Scope, list ...record.AuditEntry) error {
	for _, e := range list {
		what := fmt.Sprintf("append audit entry %q", e.Action)
		if scope == (store.Scope{}) {
			return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
		}
		if err := store.Admit(what, true, store.CheckAudit(e)); err != nil {
			return err
		}
		statement, _, args, err := table.Audit.Insert(dialect, &e)
		if err == nil {
			// Nothing is returned: whoever adds need not be allowed to read.
			_, err = exec(ctx, r, scope, statement, args...)
		}
		if err != nil {
			return r.done(ctx, what, err)
		}
	}
	return nil
}

func (r audit) List(ctx context.Context, scope store.Scope, f store.AuditFilter, page store.Page) (store.Listing[record.AuditEntry], error) {
	where := narrow().ShopOnly(scope)
	table.NarrowAudit(where, f)
	return list(ctx, r, scope, table.Audit, where, page, f.Place(scope))
}
