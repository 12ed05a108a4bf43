package sqlite

import (
	"context"
	"fmt"

	"hatchwright/service/record"
	"hatchwright/store"
	"hatchwright/store/table"
)

// Audit implements store.Registers.
func (r *registers) Audit() store.Audit { return audit{r} }

type audit struct{ *registers }

func (r audit) Append(ctx context.Context, scope store.Scope, list ...record.AuditEntry) error {
	for _, e := range list {
		what := fmt.Sprintf("append audit entry %q", e.Action)
		if scope == (store.Scope{}) {
			return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
		}
		if err := store.Admit(what, true, store.CheckAudit(e)); err != nil {
			return err
		}
		if err := insert(ctx, r.write, table.Audit, &e); err != nil {
			return r.done(ctx, what, err)
		}
	}
	return nil
}

func (r audit) List(ctx context.Context, scope store.Scope, f store.AuditFilter, page store.Page) (store.Listing[record.AuditEntry], error) {
	where := narrow().ShopOnly(scope)
	table.NarrowAudit(where, f)
	return list(ctx, r.registers, table.Audit, where, page, f.Place(scope))
}
