package service

import (
	"context"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/order"
	"hatchwright/service/record"
	"hatchwright/store"
)

// Every use case writes through writing, so what it changes is written down in the
// transaction of the change: an entry for each thing touched, made from the very
// call that changes it. There is no way for a use case to forget one.

// writing runs fn in one transaction and enters what it changed.
func (s *Service) writing(ctx context.Context, c Caller, fn func(tx store.Registers) error) error {
	return s.store.InTx(ctx, func(tx store.Tx) error {
		t := &trail{byThing: map[record.Thing]*touched{}, read: map[record.Thing]figures{}}
		if err := fn(trailed{tx, t}); err != nil {
			return err
		}
		list, err := s.entries(c, t)
		if err != nil || len(list) == 0 {
			return err
		}
		return tx.Audit().Append(ctx, c.Scope(), list...)
	})
}

// entries are those of the trail that are kept: all of what a key or a person of
// the shop does, and of keys, dealers and webhooks whoever does it. What the service
// does by itself to the rest is told by events.
func (s *Service) entries(c Caller, t *trail) ([]record.AuditEntry, error) {
	byShop := c.Role == record.RoleShop && (c.KeyID != uuid.Nil || c.Subject != "")
	var list []record.AuditEntry
	for _, x := range t.order {
		if !byShop && x.Thing.Kind != aboutKey.kind && x.Thing.Kind != aboutDealer.kind && x.Thing.Kind != order.SubjectWebhook {
			continue
		}
		id, err := s.newID()
		if err != nil {
			return nil, err
		}
		x.ID, x.CreatedAt, x.By, x.RequestID = id, s.now(), c.doer(), c.RequestID
		list = append(list, x.AuditEntry)
	}
	return list, nil
}

// figures are what is told of a thing: names and values, in order.
type figures [][2]string

// trail gathers what a transaction changes.
type trail struct {
	order   []*touched
	byThing map[record.Thing]*touched
	read    map[record.Thing]figures // things as they were read
}

// touched is an entry to be.
type touched struct {
	record.AuditEntry
	named bool // by an event
}

// note enters a change of a thing. What is done to a thing after the first is part
// of the same entry.
func (t *trail) note(kind, id, action string, before, after figures) *touched {
	thing := record.Thing{Kind: kind, ID: id}
	x := t.byThing[thing]
	if x == nil {
		x = &touched{AuditEntry: record.AuditEntry{Action: action, Thing: thing, Outcome: record.AuditDone}}
		t.byThing[thing] = x
		t.order = append(t.order, x)
	}
	x.Changes = append(x.Changes, differences(before, after)...)
	return x
}

// before is a thing as it was read in the transaction.
func (t *trail) before(kind, id string) figures { return t.read[record.Thing{Kind: kind, ID: id}] }

// longestFigure is how long a value is kept as it is, bytes; a longer one is kept
// as its digest.
const longestFigure = 200

func figure(s string) *string {
	switch {
	case s == "":
		return nil
	case len(s) > longestFigure:
		s = digest([]byte(s))
	}
	return &s
}

// differences are the figures of after that are not as before.
func differences(before, after figures) (list []record.AuditChange) {
	was := map[string]string{}
	for _, f := range before {
		was[f[0]] = f[1]
	}
	for _, f := range after {
		if old := was[f[0]]; old != f[1] {
			list = append(list, record.AuditChange{Field: f[0], Before: figure(old), After: figure(f[1])})
		}
	}
	return list
}

// about is a kind of thing: how one of them is told from the others, and what is told
// of it.
type about[T any] struct {
	kind string
	id   func(T) string
	told func(T) figures
}

// Kinds of things.
var (
	aboutDealer        = about[record.Dealer]{"dealer", func(d record.Dealer) string { return d.ID.String() }, dealerFigures}
	aboutKey           = about[record.Key]{"key", func(k record.Key) string { return k.ID.String() }, keyFigures}
	aboutConfiguration = about[record.Configuration]{"configuration", func(c record.Configuration) string { return c.ID.String() }, configurationFigures}
	aboutQuote         = about[record.Quote]{order.SubjectQuote, func(q record.Quote) string { return q.ID.String() }, quoteFigures}
	aboutOrder         = about[record.Order]{order.SubjectOrder, func(o record.Order) string { return o.ID.String() }, orderFigures}
	aboutOperation     = about[record.OperationRecord]{order.SubjectOrder, func(o record.OperationRecord) string { return o.OrderID.String() }, operationFigures}
	aboutPlan          = about[record.OrderPlan]{order.SubjectOrder, func(p record.OrderPlan) string { return p.OrderID.String() }, planFigures}
	aboutWebhook       = about[record.Webhook]{order.SubjectWebhook, func(w record.Webhook) string { return w.ID.String() }, webhookFigures}
	aboutDelivery      = about[record.Delivery]{"delivery", func(d record.Delivery) string { return d.ID.String() }, deliveryFigures}
	aboutMold          = about[record.Mold]{"mold", func(m record.Mold) string { return m.ID.String() }, moldFigures}
	aboutReservation   = about[record.MoldReservation]{aboutMold.kind, func(v record.MoldReservation) string { return v.MoldID.String() }, reservationFigures}
	aboutLot           = about[record.Lot]{"lot", func(l record.Lot) string { return l.ID.String() }, lotFigures}
	aboutMove          = about[record.StockMove]{aboutLot.kind, func(m record.StockMove) string { return m.LotID.String() }, moveFigures}
)

// saw remembers a thing as it was before it is changed. Like the others it passes the
// error of the call on, and does nothing after one.
func (a about[T]) saw(t *trail, x T, err error) error {
	if err == nil {
		t.read[record.Thing{Kind: a.kind, ID: a.id(x)}] = a.told(x)
	}
	return err
}

// made enters a new thing, or what was added to one.
func (a about[T]) made(t *trail, action string, x T, err error) error {
	if err == nil {
		t.note(a.kind, a.id(x), action, nil, a.told(x))
	}
	return err
}

// changed enters a thing that is another than it was read.
func (a about[T]) changed(t *trail, action string, x T, err error) error {
	if err == nil {
		t.note(a.kind, a.id(x), action, t.before(a.kind, a.id(x)), a.told(x))
	}
	return err
}

// What is told of each kind of thing. Nothing here is a secret: of a key its shown
// beginning, of an endpoint its host, since a path may hold a token.

func dealerFigures(d record.Dealer) figures { return figures{{"name", d.Name}, {"email", d.Email}} }

func keyFigures(k record.Key) figures {
	return figures{{"role", string(k.Role)}, {"name", k.Name}, {"prefix", k.Prefix}, {"dealer_id", idFigure(k.DealerID)},
		{"expires_at", timeFigure(k.ExpiresAt)}, {"revoked_at", timeFigure(k.RevokedAt)},
		{"quota", quotaFigure(k.Quota)}, {"rotated_from", idFigure(k.RotatedFrom)}, {"rotated_to", idFigure(k.RotatedTo)}}
}

func quotaFigure(quota int) string {
	if quota == 0 {
		return ""
	}
	return strconv.Itoa(quota)
}

func configurationFigures(c record.Configuration) figures {
	return figures{{"name", c.Name}, {"reference", c.Reference}, {"digest", c.Digest}, {"dealer_id", idFigure(c.DealerID)}, {"supersedes", idFigure(c.Supersedes)}}
}

func documentFigures(d record.ShopDocument) figures {
	return figures{{"version", strconv.Itoa(d.Version)}, {"digest", digest(d.Body)}}
}

func quoteFigures(q record.Quote) figures {
	return figures{{"state", string(q.State)}, {"version", strconv.Itoa(q.Version)}, {"reference", q.Reference}, {"dealer_id", idFigure(q.DealerID)},
		{"order_id", idFigure(q.OrderID)}, {"promise", q.Promise}, {"valid_until", timeFigure(&q.ValidUntil)}, {"total", q.Total.String()}}
}

func orderFigures(o record.Order) figures {
	return figures{{"state", string(o.State)}, {"version", strconv.Itoa(o.Version)}, {"purchase_reference", o.PurchaseReference}, {"dealer_id", idFigure(o.DealerID)},
		{"promise", o.Promise}, {"held_by", string(o.HeldBy)}, {"reason", o.Reason}, {"carrier", o.Carrier}, {"tracking", o.Tracking}}
}

func operationFigures(o record.OperationRecord) figures {
	hours := ""
	if o.Hours != nil {
		hours = strconv.FormatFloat(*o.Hours, 'f', -1, 64)
	}
	return figures{{"operation", o.Operation}, {"started_at", timeFigure(&o.StartedAt)}, {"finished_at", timeFigure(o.FinishedAt)}, {"hours", hours}}
}

func webhookFigures(w record.Webhook) figures {
	host := ""
	if u, err := url.Parse(w.URL); err == nil {
		host = u.Host
	}
	return figures{{"host", host}, {"kinds", strings.Join(w.Kinds, " ")}, {"version", strconv.Itoa(w.Version)}, {"dealer_id", idFigure(w.DealerID)}}
}

func deliveryFigures(d record.Delivery) figures {
	return figures{{"state", string(d.State)}, {"attempts", strconv.Itoa(d.Attempts)}, {"next_at", timeFigure(&d.NextAt)}, {"event", d.EventKind}, {"event_id", d.EventID.String()}}
}

func moldFigures(m record.Mold) figures {
	return figures{{"part", m.Part}, {"tag", m.Tag}, {"state", string(m.State)}, {"version", strconv.Itoa(m.Version)}, {"remaining_pulls", strconv.Itoa(m.RemainingPulls)},
		{"pulls", strconv.Itoa(m.Pulls)}, {"location", m.Location}, {"note", m.Note}, {"dealer_id", idFigure(m.DealerID)}}
}

func lotFigures(l record.Lot) figures {
	return figures{{"material", l.Material}, {"unit", l.Unit}, {"batch", l.Batch}, {"received_on", l.ReceivedOn}, {"expires_on", l.ExpiresOn}}
}

func moveFigures(m record.StockMove) figures {
	return figures{{"move", m.ID.String()}, {"kind", string(m.Kind)}, {"amount", m.Amount.String()}, {"on_hand_change", m.Change.OnHand.String()},
		{"reserved_change", m.Change.Reserved.String()}, {"order_id", idFigure(m.OrderID)}, {"note", m.Note}}
}

func reservationFigures(v record.MoldReservation) figures {
	return figures{{"order_id", v.OrderID.String()}, {"pulls_reserved_change", strconv.Itoa(v.Pulls)}, {"pulls_taken_change", strconv.Itoa(v.Taken)}}
}

func planFigures(p record.OrderPlan) figures { return figures{{"plan", digest(p.Body)}} }

func idFigure(id *uuid.UUID) string {
	if id == nil {
		return ""
	}
	return id.String()
}

func timeFigure(t *time.Time) string {
	if t == nil || t.IsZero() {
		return ""
	}
	return order.Instant(*t)
}

// trailed are the registers of a transaction whose writes leave a trail. A test
// holds it against the interfaces: each of their methods is declared here or known
// to change nothing that a person does.
type trailed struct {
	store.Registers
	t *trail
}

func (r trailed) Dealers() store.Dealers { return trailedDealers{r.Registers.Dealers(), r.t} }
func (r trailed) Keys() store.Keys       { return trailedKeys{r.Registers.Keys(), r.t} }
func (r trailed) Configurations() store.Configurations {
	return trailedConfigurations{r.Registers.Configurations(), r.t}
}
func (r trailed) ShopDocuments() store.ShopDocuments {
	return trailedShopDocuments{r.Registers.ShopDocuments(), r.t}
}
func (r trailed) Quotes() store.Quotes     { return trailedQuotes{r.Registers.Quotes(), r.t} }
func (r trailed) Orders() store.Orders     { return trailedOrders{r.Registers.Orders(), r.t} }
func (r trailed) Events() store.Events     { return trailedEvents{r.Registers.Events(), r.t} }
func (r trailed) Webhooks() store.Webhooks { return trailedWebhooks{r.Registers.Webhooks(), r.t} }
func (r trailed) Deliveries() store.Deliveries {
	return trailedDeliveries{r.Registers.Deliveries(), r.t}
}
func (r trailed) Molds() store.Molds { return trailedMolds{r.Registers.Molds(), r.t} }
func (r trailed) Stock() store.Stock { return trailedStock{r.Registers.Stock(), r.t} }
func (r trailed) Plans() store.Plans { return trailedPlans{r.Registers.Plans(), r.t} }

type trailedDealers struct {
	store.Dealers
	t *trail
}

func (r trailedDealers) Insert(ctx context.Context, scope store.Scope, d record.Dealer) error {
	return aboutDealer.made(r.t, "dealer.added", d, r.Dealers.Insert(ctx, scope, d))
}

type trailedKeys struct {
	store.Keys
	t *trail
}

func (r trailedKeys) Insert(ctx context.Context, scope store.Scope, k record.Key) error {
	return aboutKey.made(r.t, "key.made", k, r.Keys.Insert(ctx, scope, k))
}

func (r trailedKeys) InsertFirst(ctx context.Context, k record.Key) (bool, error) {
	inserted, err := r.Keys.InsertFirst(ctx, k)
	if !inserted {
		return false, err
	}
	return true, aboutKey.made(r.t, "key.made", k, err)
}

func (r trailedKeys) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Key, error) {
	k, err := r.Keys.Get(ctx, scope, id)
	return k, aboutKey.saw(r.t, k, err)
}

func (r trailedKeys) Line(ctx context.Context, scope store.Scope, account uuid.UUID, at time.Time) ([]record.Key, error) {
	list, err := r.Keys.Line(ctx, scope, account, at)
	for _, k := range list {
		_ = aboutKey.saw(r.t, k, err)
	}
	return list, err
}

func (r trailedKeys) Expire(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (record.Key, error) {
	k, err := r.Keys.Expire(ctx, scope, id, at)
	return k, aboutKey.changed(r.t, "key.rotated", k, err)
}

func (r trailedKeys) Revoke(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (record.Key, error) {
	k, err := r.Keys.Revoke(ctx, scope, id, at)
	if err == nil {
		was := k
		if k.RevokedAt.Equal(record.Moment(at)) {
			was.RevokedAt = nil
		}
		x := r.t.note(aboutKey.kind, id.String(), "key.revoked", keyFigures(was), keyFigures(k))
		if len(x.Changes) == 0 {
			x.Outcome = record.AuditUnchanged
		}
	}
	return k, err
}

type trailedConfigurations struct {
	store.Configurations
	t *trail
}

func (r trailedConfigurations) Insert(ctx context.Context, scope store.Scope, c record.Configuration) error {
	return aboutConfiguration.made(r.t, "configuration.kept", c, r.Configurations.Insert(ctx, scope, c))
}

type trailedShopDocuments struct {
	store.ShopDocuments
	t *trail
}

func (r trailedShopDocuments) Latest(ctx context.Context, kind string) (record.ShopDocument, error) {
	d, err := r.ShopDocuments.Latest(ctx, kind)
	if err == nil {
		r.t.read[record.Thing{Kind: kind}] = documentFigures(d)
	}
	return d, err
}

func (r trailedShopDocuments) Put(ctx context.Context, scope store.Scope, d record.ShopDocument, expected int) (record.ShopDocument, error) {
	kept, err := r.ShopDocuments.Put(ctx, scope, d, expected)
	if err == nil {
		r.t.note(kept.Kind, strconv.Itoa(kept.Version), kept.Kind+".changed", r.t.before(kept.Kind, ""), documentFigures(kept))
	}
	return kept, err
}

type trailedQuotes struct {
	store.Quotes
	t *trail
}

func (r trailedQuotes) Insert(ctx context.Context, scope store.Scope, q record.Quote) error {
	return aboutQuote.made(r.t, "quote.made", q, r.Quotes.Insert(ctx, scope, q))
}

func (r trailedQuotes) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Quote, error) {
	q, err := r.Quotes.Get(ctx, scope, id)
	return q, aboutQuote.saw(r.t, q, err)
}

func (r trailedQuotes) Update(ctx context.Context, scope store.Scope, q record.Quote, expected int) error {
	return aboutQuote.changed(r.t, "quote."+string(q.State), q, r.Quotes.Update(ctx, scope, q, expected))
}

type trailedOrders struct {
	store.Orders
	t *trail
}

func (r trailedOrders) Insert(ctx context.Context, scope store.Scope, o record.Order) error {
	return aboutOrder.made(r.t, "order.received", o, r.Orders.Insert(ctx, scope, o))
}

func (r trailedOrders) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Order, error) {
	o, err := r.Orders.Get(ctx, scope, id)
	return o, aboutOrder.saw(r.t, o, err)
}

func (r trailedOrders) Update(ctx context.Context, scope store.Scope, o record.Order, expected int) error {
	return aboutOrder.changed(r.t, "order.changed", o, r.Orders.Update(ctx, scope, o, expected))
}

func (r trailedOrders) PutOperation(ctx context.Context, scope store.Scope, o record.OperationRecord) error {
	return aboutOperation.made(r.t, string(order.OperationRecorded), o, r.Orders.PutOperation(ctx, scope, o))
}

type trailedEvents struct {
	store.Events
	t *trail
}

// Append names what was done to a thing by the first event about it; an operation
// recorded goes before what follows from it.
func (r trailedEvents) Append(ctx context.Context, scope store.Scope, list ...record.Event) ([]record.Event, error) {
	kept, err := r.Events.Append(ctx, scope, list...)
	if err != nil {
		return kept, err
	}
	for _, e := range kept {
		if x := r.t.note(e.Subject.Kind, e.Subject.ID.String(), e.Kind, nil, nil); !x.named || e.Kind == string(order.OperationRecorded) {
			x.Action, x.named = e.Kind, true
		}
	}
	return kept, nil
}

type trailedWebhooks struct {
	store.Webhooks
	t *trail
}

func (r trailedWebhooks) Insert(ctx context.Context, scope store.Scope, w record.Webhook) (record.Webhook, error) {
	kept, err := r.Webhooks.Insert(ctx, scope, w)
	return kept, aboutWebhook.made(r.t, string(order.WebhookMade), kept, err)
}

func (r trailedWebhooks) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Webhook, error) {
	w, err := r.Webhooks.Get(ctx, scope, id)
	return w, aboutWebhook.saw(r.t, w, err)
}

func (r trailedWebhooks) Update(ctx context.Context, scope store.Scope, w record.Webhook, expected int) error {
	return aboutWebhook.changed(r.t, "webhook.changed", w, r.Webhooks.Update(ctx, scope, w, expected))
}

func (r trailedWebhooks) Delete(ctx context.Context, scope store.Scope, id uuid.UUID) error {
	err := r.Webhooks.Delete(ctx, scope, id)
	if err == nil {
		before := r.t.before(order.SubjectWebhook, id.String())
		gone := make(figures, len(before))
		for i, f := range before {
			gone[i] = [2]string{f[0], ""}
		}
		r.t.note(order.SubjectWebhook, id.String(), string(order.WebhookDeleted), before, gone)
	}
	return err
}

type trailedDeliveries struct {
	store.Deliveries
	t *trail
}

func (r trailedDeliveries) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Delivery, error) {
	d, err := r.Deliveries.Get(ctx, scope, id)
	return d, aboutDelivery.saw(r.t, d, err)
}

func (r trailedDeliveries) Resend(ctx context.Context, scope store.Scope, id uuid.UUID, at time.Time) (record.Delivery, error) {
	d, err := r.Deliveries.Resend(ctx, scope, id, at)
	return d, aboutDelivery.changed(r.t, "delivery.resent", d, err)
}

type trailedMolds struct {
	store.Molds
	t *trail
}

func (r trailedMolds) Insert(ctx context.Context, scope store.Scope, m record.Mold) error {
	return aboutMold.made(r.t, "mold.registered", m, r.Molds.Insert(ctx, scope, m))
}

func (r trailedMolds) Get(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Mold, error) {
	m, err := r.Molds.Get(ctx, scope, id)
	return m, aboutMold.saw(r.t, m, err)
}

func (r trailedMolds) Hold(ctx context.Context, scope store.Scope, id uuid.UUID) (record.Mold, int, error) {
	m, reserved, err := r.Molds.Hold(ctx, scope, id)
	return m, reserved, aboutMold.saw(r.t, m, err)
}

func (r trailedMolds) Update(ctx context.Context, scope store.Scope, m record.Mold, expected int) error {
	action := "mold.changed"
	if m.State == record.MoldRetired {
		action = "mold.retired" // for good: it is not changed again
	}
	return aboutMold.changed(r.t, action, m, r.Molds.Update(ctx, scope, m, expected))
}

func (r trailedMolds) Reserve(ctx context.Context, scope store.Scope, v record.MoldReservation) error {
	action := "mold.reserved"
	if v.Pulls < 0 {
		action = "mold.released"
	}
	if v.Taken > 0 {
		action = "mold.pulled"
	}
	return aboutReservation.made(r.t, action, v, r.Molds.Reserve(ctx, scope, v))
}

type trailedStock struct {
	store.Stock
	t *trail
}

func (r trailedStock) InsertLot(ctx context.Context, scope store.Scope, l record.Lot) error {
	return aboutLot.made(r.t, "lot.received", l, r.Stock.InsertLot(ctx, scope, l))
}

func (r trailedStock) Move(ctx context.Context, scope store.Scope, m record.StockMove) error {
	return aboutMove.made(r.t, "lot.moved", m, r.Stock.Move(ctx, scope, m))
}

type trailedPlans struct {
	store.Plans
	t *trail
}

func (r trailedPlans) Put(ctx context.Context, scope store.Scope, p record.OrderPlan) error {
	return aboutPlan.made(r.t, "order.planned", p, r.Plans.Put(ctx, scope, p))
}
