package sqlite

import (
	"context"
	"encoding/json"
	"fmt"

	"hatchwright/service/record"
	"hatchwright/store"
)

// Audit implements store.Registers.
func (r *registers) Audit() store.Audit { return audit{r} }

type audit struct{ *registers }

const auditColumns = "id, created_at, key_id, key_name, issuer, subject, role, request_id, action, thing_kind, thing_id, outcome, changes"

func scanAudit(r row) (e record.AuditEntry, err error) {
	var changes string
	err = r.Scan(&e.ID, stamp{&e.CreatedAt}, &e.By.KeyID, &e.By.KeyName, &e.By.Issuer, &e.By.Subject, &e.By.Role, &e.RequestID, &e.Action,
		&e.Thing.Kind, &e.Thing.ID, &e.Outcome, &changes)
	if err == nil {
		err = json.Unmarshal([]byte(changes), &e.Changes)
	}
	return e, err
}

func (r audit) Append(ctx context.Context, scope store.Scope, list ...record.AuditEntry) error {
	for _, e := range list {
		what := fmt.Sprintf("append audit entry %q", e.Action)
		if scope == (store.Scope{}) {
			return fmt.Errorf("%s: %w", what, store.ErrOutOfScope)
		}
		if err := store.CheckAudit(e); err != nil {
			return fmt.Errorf("%s: %w", what, err)
		}
		changes, err := json.Marshal(e.Changes)
		if err == nil {
			_, err = r.write.ExecContext(ctx, "insert into audit_entries ("+auditColumns+") values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
				e.ID.String(), millis(e.CreatedAt), idOrNull(e.By.KeyID), e.By.KeyName, e.By.Issuer, e.By.Subject, string(e.By.Role), e.RequestID,
				e.Action, e.Thing.Kind, e.Thing.ID, string(e.Outcome), string(changes))
		}
		if err != nil {
			return r.done(ctx, what, err)
		}
	}
	return nil
}

func (r audit) List(ctx context.Context, scope store.Scope, f store.AuditFilter, page store.Page) (store.Listing[record.AuditEntry], error) {
	where := shopOnly(scope)
	if f.KeyID != nil {
		where.add("key_id = ?", f.KeyID.String())
	}
	for _, narrow := range [][2]string{{"subject", f.Subject}, {"thing_kind", f.ThingKind}, {"thing_id", f.ThingID}, {"action", f.Action}, {"request_id", f.RequestID}} {
		if narrow[1] != "" {
			where.add(narrow[0]+" = ?", narrow[1])
		}
	}
	if !f.From.IsZero() {
		where.add("created_at >= ?", millis(f.From))
	}
	if !f.Before.IsZero() {
		where.add("created_at < ?", millis(f.Before))
	}
	return list(ctx, r.registers, "audit entries", "select "+auditColumns+" from audit_entries", where, page, f.Place(scope), scanAudit,
		func(e record.AuditEntry) store.Position { return store.Position{CreatedAt: e.CreatedAt, ID: e.ID} })
}
