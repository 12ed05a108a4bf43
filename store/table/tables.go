package table

import (
	"hatchwright/service/record"
	"hatchwright/store"
)

var toDealer = Reference{Column: "dealer_id", Table: "dealers"}

// Dealers are the dealers.
var Dealers = define("dealers", "dealers", "", func(d *record.Dealer) []Column {
	return []Column{
		{"id", "uuid", &d.ID},
		{"name", "text", &d.Name},
		{"email", "text", &d.Email},
		{"created_at", "timestamptz", &d.CreatedAt},
	}
}).by(func(d *record.Dealer) store.Position { return store.Position{CreatedAt: d.CreatedAt, ID: d.ID} })

// Keys are the API keys. What a key's line has spent is kept with the first of it.
var Keys = define("api_keys", "keys", "", func(k *record.Key) []Column {
	return []Column{
		{"id", "uuid", &k.ID},
		{"dealer_id", "uuid", &k.DealerID},
		{"role", "text", &k.Role},
		{"name", "text", &k.Name},
		{"hash", "bytea", &k.Hash},
		{"prefix", "text", &k.Prefix},
		{"created_at", "timestamptz", &k.CreatedAt},
		{"expires_at", "timestamptz", &k.ExpiresAt},
		{"revoked_at", "timestamptz", &k.RevokedAt},
		{"last_used_at", "timestamptz", &k.LastUsedAt},
		{"quota", "bigint", countOrNull{&k.Quota}},
		{"rotated_from", "uuid", &k.RotatedFrom},
		{"root_id", "uuid", &k.Root},
		{"(select s.id from api_keys s where s.rotated_from = api_keys.id) as rotated_to", "", &k.RotatedTo},
		{"(select r.spent from api_keys r where r.id = coalesce(api_keys.root_id, api_keys.id)) as account_spent", "", &k.Spent},
		{"(select r.spent_on from api_keys r where r.id = coalesce(api_keys.root_id, api_keys.id)) as account_spent_on", "", &k.SpentOn},
	}
}, toDealer).by(func(k *record.Key) store.Position { return store.Position{CreatedAt: k.CreatedAt, ID: k.ID} })

// Configurations are the kept configurations, without their documents.
var Configurations = define("configurations", "configurations", "", func(c *record.Configuration) []Column {
	return []Column{
		{"id", "uuid", &c.ID},
		{"dealer_id", "uuid", &c.DealerID},
		{"digest", "text", &c.Digest},
		{"units", "text", &c.Units},
		{"pattern", "text", &c.Pattern},
		{"verdict", "text", &c.Verdict},
		{"name", "text", &c.Name},
		{"reference", "text", &c.Reference},
		{"supersedes", "uuid", &c.Supersedes},
		{"created_at", "timestamptz", &c.CreatedAt},
		{"engine_revision", "text", &c.Revision.Engine},
		{"catalog_revision", "text", &c.Revision.Catalog},
		{"price_book_revision", "text", &c.Revision.PriceBook},
	}
}, toDealer, Reference{Column: "supersedes", Table: "configurations", SameOwner: true}).
	by(func(c *record.Configuration) store.Position { return store.Position{CreatedAt: c.CreatedAt, ID: c.ID} })

// Quotes are the quotes, without their lines.
var Quotes = define("quotes", "quotes", "state order_id version updated_at", func(q *record.Quote) []Column {
	return []Column{
		{"id", "uuid", &q.ID},
		{"dealer_id", "uuid", &q.DealerID},
		{"state", "text", &q.State},
		{"version", "integer", &q.Version},
		{"reference", "text", &q.Reference},
		{"revises", "uuid", &q.Revises},
		{"order_id", "uuid", &q.OrderID},
		{"engine_revision", "text", &q.Revision.Engine},
		{"catalog_revision", "text", &q.Revision.Catalog},
		{"price_book_revision", "text", &q.Revision.PriceBook},
		{"promise", "text", &q.Promise},
		{"valid_until", "timestamptz", &q.ValidUntil},
		{"total", "text", &q.Total.Value},
		{"currency", "text", &q.Total.Currency},
		{"created_at", "timestamptz", &q.CreatedAt},
		{"updated_at", "timestamptz", &q.UpdatedAt},
		{"created_by", "uuid", &q.CreatedBy.KeyID},
		{"created_as", "text", &q.CreatedBy.Role},
	}
}, toDealer, Reference{Column: "revises", Table: "orders", SameOwner: true}).
	by(func(q *record.Quote) store.Position { return store.Position{CreatedAt: q.CreatedAt, ID: q.ID} })

// Orders are the orders.
var Orders = define("orders", "orders", "state version purchase_reference promise held_from held_by reason carrier tracking updated_at", func(o *record.Order) []Column {
	return []Column{
		{"id", "uuid", &o.ID},
		{"dealer_id", "uuid", &o.DealerID},
		{"quote_id", "uuid", &o.QuoteID},
		{"state", "text", &o.State},
		{"version", "integer", &o.Version},
		{"purchase_reference", "text", &o.PurchaseReference},
		{"replaces", "uuid", &o.Replaces},
		{"promise", "text", &o.Promise},
		{"total", "text", &o.Total.Value},
		{"currency", "text", &o.Total.Currency},
		{"held_from", "text", &o.HeldFrom},
		{"held_by", "text", &o.HeldBy},
		{"reason", "text", &o.Reason},
		{"carrier", "text", &o.Carrier},
		{"tracking", "text", &o.Tracking},
		{"created_at", "timestamptz", &o.CreatedAt},
		{"updated_at", "timestamptz", &o.UpdatedAt},
	}
}, toDealer, Reference{Column: "quote_id", Table: "quotes", SameOwner: true}, Reference{Column: "replaces", Table: "orders", SameOwner: true}).
	by(func(o *record.Order) store.Position { return store.Position{CreatedAt: o.CreatedAt, ID: o.ID} })

// Operations are the records of operations of orders.
var Operations = define("operation_records", "operations", "", func(o *record.OperationRecord) []Column {
	return []Column{
		{"order_id", "uuid", &o.OrderID},
		{"operation", "text", &o.Operation},
		{"started_at", "timestamptz", &o.StartedAt},
		{"finished_at", "timestamptz", &o.FinishedAt},
		{"hours", "double precision", &o.Hours},
		{"updated_at", "timestamptz", &o.UpdatedAt},
		{"updated_by", "uuid", &o.By.KeyID},
		{"updated_as", "text", &o.By.Role},
	}
})

// Events are the events, by sequence.
var Events = define("events", "events", "", func(e *record.Event) []Column {
	return []Column{
		{"sequence", "bigint", &e.Sequence},
		{"id", "uuid", &e.ID},
		{"kind", "text", &e.Kind},
		{"dealer_id", "uuid", &e.DealerID},
		{"subject_kind", "text", &e.Subject.Kind},
		{"subject_id", "uuid", &e.Subject.ID},
		{"key_id", "uuid", &e.Actor.KeyID},
		{"role", "text", &e.Actor.Role},
		{"created_at", "timestamptz", &e.CreatedAt},
		{"body", "text", document{&e.Body}},
	}
}).by(func(e *record.Event) store.Position { return store.VersionPosition(int(e.Sequence)) })

// Webhooks are the endpoints.
var Webhooks = define("webhooks", "webhooks", "secrets version updated_at", func(w *record.Webhook) []Column {
	return []Column{
		{"id", "uuid", &w.ID},
		{"dealer_id", "uuid", &w.DealerID},
		{"version", "integer", &w.Version},
		{"url", "text", &w.URL},
		{"kinds", "text", words{&w.Kinds}},
		{"secrets", "text", encoded{&w.Secrets}},
		{"since", "bigint", &w.Since},
		{"paused_until", "timestamptz", &w.PausedUntil},
		{"failing_since", "timestamptz", &w.FailingSince},
		{"disabled_at", "timestamptz", &w.DisabledAt},
		{"disabled_reason", "text", &w.DisabledReason},
		{"created_at", "timestamptz", &w.CreatedAt},
		{"updated_at", "timestamptz", &w.UpdatedAt},
	}
}, toDealer).by(func(w *record.Webhook) store.Position { return store.Position{CreatedAt: w.CreatedAt, ID: w.ID} })

// Deliveries are the deliveries of events to endpoints.
var Deliveries = define("webhook_deliveries", "deliveries", "", func(d *record.Delivery) []Column {
	return []Column{
		{"id", "uuid", &d.ID},
		{"webhook_id", "uuid", &d.WebhookID},
		{"dealer_id", "uuid", &d.DealerID},
		{"event_id", "uuid", &d.EventID},
		{"event_kind", "text", &d.EventKind},
		{"sequence", "bigint", &d.Sequence},
		{"subject", "uuid", &d.Subject},
		{"state", "text", &d.State},
		{"attempts", "integer", &d.Attempts},
		{"next_at", "timestamptz", &d.NextAt},
		{"last_status", "integer", &d.LastStatus},
		{"last_error", "text", &d.LastError},
		{"attempted_at", "timestamptz", &d.AttemptedAt},
		{"delivered_at", "timestamptz", &d.DeliveredAt},
		{"created_at", "timestamptz", &d.CreatedAt},
	}
}).by(func(d *record.Delivery) store.Position { return store.Position{CreatedAt: d.CreatedAt, ID: d.ID} })

// Molds are the registered molds.
var Molds = define("molds", "molds", "version tag remaining_pulls pulls state location note updated_at", func(m *record.Mold) []Column {
	return []Column{
		{"id", "uuid", &m.ID},
		{"dealer_id", "uuid", &m.DealerID},
		{"version", "integer", &m.Version},
		{"tag", "text", &m.Tag},
		{"configuration_id", "uuid", &m.ConfigurationID},
		{"part", "text", &m.Part},
		{"class", "text", &m.Class},
		{"fingerprint", "text", &m.Fingerprint},
		{"hatch", "text", &m.Set},
		{"long_side", "double precision", &m.Long},
		{"short_side", "double precision", &m.Short},
		{"least_radius", "double precision", &m.LeastRadius},
		{"face", "text", document{&m.Face}},
		{"remaining_pulls", "integer", &m.RemainingPulls},
		{"pulls", "integer", &m.Pulls},
		{"state", "text", &m.State},
		{"location", "text", &m.Location},
		{"note", "text", &m.Note},
		{"created_at", "timestamptz", &m.CreatedAt},
		{"updated_at", "timestamptz", &m.UpdatedAt},
	}
}, toDealer, Reference{Column: "configuration_id", Table: "configurations"}).
	by(func(m *record.Mold) store.Position { return store.Position{CreatedAt: m.CreatedAt, ID: m.ID} })

// MoldReservations are what orders have set aside of molds.
var MoldReservations = define("mold_reservations", "reservations of molds", "", func(v *record.MoldReservation) []Column {
	return []Column{
		{"order_id", "uuid", &v.OrderID},
		{"mold_id", "uuid", &v.MoldID},
		{"pulls", "integer", &v.Pulls},
		{"taken", "integer", &v.Taken},
	}
})

// Lots are the lots of materials.
var Lots = define("stock_lots", "lots", "", func(l *record.Lot) []Column {
	return []Column{
		{"id", "uuid", &l.ID},
		{"material", "text", &l.Material},
		{"unit", "text", &l.Unit},
		{"batch", "text", &l.Batch},
		{"on_hand", "bigint", &l.OnHand},
		{"reserved", "bigint", &l.Reserved},
		{"received_on", "text", &l.ReceivedOn},
		{"expires_on", "text", &l.ExpiresOn},
		{"created_at", "timestamptz", &l.CreatedAt},
		{"updated_at", "timestamptz", &l.UpdatedAt},
	}
}).by(func(l *record.Lot) store.Position { return store.Position{CreatedAt: l.CreatedAt, ID: l.ID} })

// Moves are the moves of lots.
var Moves = define("stock_moves", "stock moves", "", func(m *record.StockMove) []Column {
	return []Column{
		{"id", "uuid", &m.ID},
		{"lot_id", "uuid", &m.LotID},
		{"material", "text", &m.Material},
		{"kind", "text", &m.Kind},
		{"amount", "bigint", &m.Amount},
		{"order_id", "uuid", &m.OrderID},
		{"note", "text", &m.Note},
		{"on_hand", "bigint", &m.Change.OnHand},
		{"reserved", "bigint", &m.Change.Reserved},
		{"created_at", "timestamptz", &m.CreatedAt},
		{"moved_by", "uuid", &m.By.KeyID},
		{"moved_as", "text", &m.By.Role},
	}
}).by(func(m *record.StockMove) store.Position { return store.Position{CreatedAt: m.CreatedAt, ID: m.ID} })

// Reservations are what orders have reserved and taken of lots.
var Reservations = define("stock_reservations join stock_lots on id = lot_id", "reservations", "", func(v *record.Reservation) []Column {
	return []Column{
		{"order_id", "", &v.OrderID},
		{"lot_id", "", &v.LotID},
		{"material", "", &v.Material},
		{"amount", "", &v.Amount},
		{"issued", "", &v.Issued},
	}
})

// Plans are the plans of orders.
var Plans = define("order_plans", "plans", "", func(p *record.OrderPlan) []Column {
	return []Column{
		{"order_id", "uuid", &p.OrderID},
		{"schema_version", "integer", &p.SchemaVersion},
		{"body", "text", document{&p.Body}},
		{"planned_at", "timestamptz", &p.PlannedAt},
		{"p50", "timestamptz", &p.P50},
		{"p80", "timestamptz", &p.P80},
		{"p95", "timestamptz", &p.P95},
		{"finished_at", "timestamptz", &p.FinishedAt},
	}
}, Reference{Column: "order_id", Table: "orders"})

// Observations are what was learned of finished operations.
var Observations = define("observations", "observations", "", func(o *record.Observation) []Column {
	return []Column{
		{"order_id", "uuid", &o.OrderID},
		{"operation", "text", &o.Operation},
		{"kind", "text", &o.Kind},
		{"estimate", "double precision", &o.Estimate},
		{"actual", "double precision", &o.Actual},
		{"finished_at", "timestamptz", &o.FinishedAt},
	}
}, Reference{Column: "order_id", Table: "orders"})

// Audit are the entries of the audit list.
var Audit = define("audit_entries", "audit entries", "", func(e *record.AuditEntry) []Column {
	return []Column{
		{"id", "uuid", &e.ID},
		{"created_at", "timestamptz", &e.CreatedAt},
		{"key_id", "uuid", &e.By.KeyID},
		{"key_name", "text", &e.By.KeyName},
		{"issuer", "text", &e.By.Issuer},
		{"subject", "text", &e.By.Subject},
		{"role", "text", &e.By.Role},
		{"request_id", "text", &e.RequestID},
		{"action", "text", &e.Action},
		{"thing_kind", "text", &e.Thing.Kind},
		{"thing_id", "text", &e.Thing.ID},
		{"outcome", "text", &e.Outcome},
		{"changes", "text", encoded{&e.Changes}},
	}
}).by(func(e *record.AuditEntry) store.Position { return store.Position{CreatedAt: e.CreatedAt, ID: e.ID} })

// Claims are the claims of idempotency keys, without the answers.
var Claims = define("idempotency_keys", "idempotency keys", "", func(r *record.IdempotencyRecord) []Column {
	return []Column{
		{"caller", "text", &r.Caller},
		{"method", "text", &r.Method},
		{"route", "text", &r.Route},
		{"key", "text", &r.Key},
		{"body_hash", "bytea", &r.BodyHash},
		{"token", "uuid", &r.Token},
		{"state", "text", &r.State},
		{"created_at", "timestamptz", &r.CreatedAt},
		{"locked_until", "timestamptz", &r.LockedUntil},
		{"expires_at", "timestamptz", &r.ExpiresAt},
	}
})

// ShopDocuments are the versions of the shop's documents.
var ShopDocuments = define("shop_documents", "versions", "", func(d *record.ShopDocument) []Column {
	return []Column{
		{"kind", "text", &d.Kind},
		{"version", "bigint", &d.Version},
		{"body", "text", document{&d.Body}},
		{"created_at", "timestamptz", &d.CreatedAt},
		{"author", "text", &d.Author},
	}
}).by(func(d *record.ShopDocument) store.Position { return store.VersionPosition(d.Version) })
