package table

import (
	"hatchwright/service/record"
	"hatchwright/store"
)

// NarrowKeys narrows a list of keys.
func NarrowKeys(w *Where, f store.KeyFilter) *Where {
	return w.If("dealer_id = ?", f.DealerID).If("role = ?", f.Role)
}

// NarrowConfigurations narrows a list of configurations.
func NarrowConfigurations(w *Where, f store.ConfigurationFilter) *Where {
	return w.If("dealer_id = ?", f.DealerID).If("pattern = ?", f.Pattern).If("verdict = ?", f.Verdict).If("digest = ?", f.Digest).
		If("reference = ?", f.Reference).If("created_at >= ?", f.CreatedFrom).If("created_at < ?", f.CreatedBefore)
}

// NarrowQuotes narrows a list of quotes. Open and expired ones differ by the time alone.
func NarrowQuotes(w *Where, f store.QuoteFilter) *Where {
	w.If("dealer_id = ?", f.DealerID).If("reference = ?", f.Reference)
	switch f.State {
	case record.QuoteOpen:
		return w.Add("state = 'open' and valid_until > ?", f.At)
	case record.QuoteExpired:
		return w.Add("state = 'open' and valid_until <= ?", f.At)
	}
	return w.If("state = ?", f.State)
}

// NarrowOrders narrows a list of orders.
func NarrowOrders(w *Where, f store.OrderFilter) *Where {
	return w.If("dealer_id = ?", f.DealerID).If("quote_id = ?", f.QuoteID).If("state = ?", f.State).
		If("purchase_reference = ?", f.PurchaseReference).If("promise >= ?", f.PromisedFrom).If("promise <= ?", f.PromisedTo)
}

// NarrowDeliveries narrows a list of deliveries.
func NarrowDeliveries(w *Where, f store.DeliveryFilter) *Where {
	return w.Add("webhook_id = ?", f.WebhookID).If("state = ?", f.State)
}

// NarrowMolds narrows a list of molds.
func NarrowMolds(w *Where, f store.MoldFilter) *Where {
	return w.If("dealer_id = ?", f.DealerID).If("state = ?", f.State).If("part = ?", f.Part).If("hatch = ?", f.Set)
}

// NarrowLots narrows a list of lots.
func NarrowLots(w *Where, f store.LotFilter) *Where {
	if w.If("material = ?", f.Material); f.Held {
		w.Add("on_hand > 0")
	}
	return w.If("expires_on <> '' and expires_on <= ?", f.ExpiresBy)
}

// NarrowMoves narrows a list of stock moves.
func NarrowMoves(w *Where, f store.MoveFilter) *Where {
	return w.If("lot_id = ?", f.LotID).If("order_id = ?", f.OrderID).If("material = ?", f.Material).If("kind = ?", f.Kind).
		If("created_at >= ?", f.From).If("created_at < ?", f.Before)
}

// NarrowAudit narrows a list of audit entries.
func NarrowAudit(w *Where, f store.AuditFilter) *Where {
	return w.If("key_id = ?", f.KeyID).If("subject = ?", f.Subject).If("thing_kind = ?", f.ThingKind).If("thing_id = ?", f.ThingID).
		If("action = ?", f.Action).If("request_id = ?", f.RequestID).If("created_at >= ?", f.From).If("created_at < ?", f.Before)
}

// WithinDealers narrows to the dealers that the scope covers: for a dealer itself.
func WithinDealers(w *Where, scope store.Scope) *Where {
	if scope == store.HouseScope() { // the shop is no dealer
		scope = store.Scope{}
	}
	return w.Owned(scope, "id")
}
