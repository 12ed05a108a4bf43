package api

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/http"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// listAudit lists who changed what, as JSON or as CSV.
func (a *api) listAudit(c *call) error {
	i, err := c.negotiate("The list", []string{jsonType, csvType})
	if err != nil {
		return err
	}
	f := store.AuditFilter{KeyID: c.queryID("key_id"), Subject: c.queryText("subject"), ThingKind: c.queryText("thing"), ThingID: c.queryText("thing_id"),
		Action: c.queryText("action"), RequestID: c.queryText("request_id"), From: c.queryTime("created_from"), Before: c.queryTime("created_before")}
	l, err := a.service.ListAudit(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	if i == 1 {
		table, err := auditCSV(l.Items)
		if err != nil {
			return err
		}
		c.linkNext(l.NextCursor)
		c.Response().Header().Set("Content-Disposition", `attachment; filename="audit.csv"`)
		return c.Blob(http.StatusOK, csvType+"; charset=utf-8; header=present", table)
	}
	return sendList(c, l, (*writer).auditEntry)
}

// auditEntry writes who changed what.
func (w *writer) auditEntry(e *record.AuditEntry) {
	w.object("")
	w.text("id", e.ID.String())
	w.moment("created_at", &e.CreatedAt)
	w.object("by")
	w.text("role", string(e.By.Role))
	w.id("key_id", e.By.KeyID)
	w.optional("key_name", e.By.KeyName)
	w.optional("issuer", e.By.Issuer)
	w.optional("subject", e.By.Subject)
	w.end()
	w.optional("request_id", e.RequestID)
	w.text("action", e.Action)
	w.object("thing")
	w.text("kind", e.Thing.Kind)
	w.text("id", e.Thing.ID)
	w.end()
	w.text("outcome", string(e.Outcome))
	w.list("changes")
	for _, k := range e.Changes {
		w.object("")
		w.text("field", k.Field)
		for _, side := range []struct {
			key   string
			value *string
		}{{"before", k.Before}, {"after", k.After}} {
			if side.value == nil {
				w.null(side.key)
				continue
			}
			w.text(side.key, *side.value)
		}
		w.end()
	}
	w.endList()
	w.end()
}

// auditColumns are the columns of the list as CSV; changes are JSON in one cell.
var auditColumns = []string{"id", "created_at", "role", "key_id", "key_name", "issuer", "subject", "request_id", "action", "thing", "thing_id", "outcome", "changes"}

func auditCSV(list []record.AuditEntry) ([]byte, error) {
	rows := [][]string{auditColumns}
	for i := range list {
		e := &list[i]
		key := ""
		if e.By.KeyID != nil {
			key = e.By.KeyID.String()
		}
		changes := []byte("[]")
		if len(e.Changes) > 0 {
			var err error
			if changes, err = json.Marshal(e.Changes); err != nil {
				return nil, fmt.Errorf("write the audit list: %w", err)
			}
		}
		rows = append(rows, []string{e.ID.String(), order.Instant(e.CreatedAt), string(e.By.Role), key, plainCell(e.By.KeyName), plainCell(e.By.Issuer), plainCell(e.By.Subject),
			plainCell(e.RequestID), e.Action, e.Thing.Kind, e.Thing.ID, string(e.Outcome), string(changes)})
	}
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	w.UseCRLF = true
	if err := w.WriteAll(rows); err != nil {
		return nil, fmt.Errorf("write the audit list: %w", err)
	}
	return out.Bytes(), nil
}
