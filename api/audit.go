package api

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"net/http"

	"github.com/google/uuid"

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
	return sendList(c, l, toAuditEntry)
}

// wireAuditEntry is who changed what.
type wireAuditEntry struct {
	ID        uuid.UUID         `json:"id"`
	CreatedAt moment            `json:"created_at"`
	By        wireAuditor       `json:"by"`
	RequestID optional          `json:"request_id"`
	Action    text              `json:"action"`
	Thing     wireThing         `json:"thing"`
	Outcome   text              `json:"outcome"`
	Changes   []wireAuditChange `json:"changes"`
}

type wireAuditor struct {
	Role    text       `json:"role"`
	KeyID   *uuid.UUID `json:"key_id"`
	KeyName optional   `json:"key_name"`
	Issuer  optional   `json:"issuer"`
	Subject optional   `json:"subject"`
}

type wireThing struct {
	Kind text `json:"kind"`
	ID   text `json:"id"`
}

type wireAuditChange struct {
	Field  text  `json:"field"`
	Before *text `json:"before"`
	After  *text `json:"after"`
}

func toAuditEntry(e *record.AuditEntry) wireAuditEntry {
	return wireAuditEntry{
		ID: e.ID, CreatedAt: moment(e.CreatedAt), RequestID: optional(e.RequestID), Action: text(e.Action), Outcome: text(e.Outcome),
		By:    wireAuditor{text(e.By.Role), e.By.KeyID, optional(e.By.KeyName), optional(e.By.Issuer), optional(e.By.Subject)},
		Thing: wireThing{text(e.Thing.Kind), text(e.Thing.ID)},
		Changes: rows(e.Changes, func(k *record.AuditChange) wireAuditChange {
			return wireAuditChange{text(k.Field), (*text)(k.Before), (*text)(k.After)}
		}),
	}
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
