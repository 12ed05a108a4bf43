package api

import (
	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/record"
	"hatchwright/service/stockroom"
	"hatchwright/store"
)

// moveStock enters a move into the stock's book.
func (a *api) moveStock(c *call) error {
	given, _ := c.object()["amount"].(float64)
	amount, err := stockroom.Of(given)
	if err != nil {
		f := fault.Wrap(fault.Invalid, err, "%v", err)
		f.Fields = []fault.Field{{Pointer: "/amount", Code: string(stockroom.WrongAmount), Message: f.Detail}}
		return f
	}
	n := service.NewMove{Kind: stockroom.Kind(c.text("kind")), Amount: amount, LotID: c.bodyID("lot_id"), Material: c.text("material"), OrderID: c.bodyID("order_id"),
		Note: c.text("note")}
	if lot, ok := c.object()["lot"].(map[string]any); ok {
		text := func(key string) string { s, _ := lot[key].(string); return s }
		n.Lot = &service.NewLot{Material: text("material"), Batch: text("batch"), ReceivedOn: text("received_on"), ExpiresOn: text("expires_on")}
	}
	made, err := a.service.MoveStock(c.Request().Context(), c.caller, n, c.claim())
	return c.give(made.Answer, err)
}

// stockMoved writes the moves that were made and the lots as they are then.
func (w *writer) stockMoved(s *service.StockMoved) {
	w.object("")
	w.list("moves")
	for i := range s.Moves {
		w.stockMove(&s.Moves[i])
	}
	w.endList()
	w.list("lots")
	for i := range s.Lots {
		w.lot(&s.Lots[i])
	}
	w.endList()
	w.end()
}

// listStockMoves lists the stock's book.
func (a *api) listStockMoves(c *call) error {
	f := store.MoveFilter{LotID: c.queryID("lot_id"), OrderID: c.queryID("order_id"), Material: c.queryText("material"), Kind: stockroom.Kind(c.queryText("kind")),
		From: c.queryTime("created_from"), Before: c.queryTime("created_before")}
	l, err := a.service.ListMoves(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, (*writer).stockMove)
}

// stockMove writes an entry of the book.
func (w *writer) stockMove(m *record.StockMove) {
	w.object("")
	w.text("id", m.ID.String())
	w.text("kind", string(m.Kind))
	w.text("lot_id", m.LotID.String())
	w.text("material", m.Material)
	w.amount("amount", m.Amount)
	w.amount("on_hand_change", m.Change.OnHand)
	w.amount("reserved_change", m.Change.Reserved)
	w.id("order_id", m.OrderID)
	w.optional("note", m.Note)
	w.moment("created_at", &m.CreatedAt)
	w.object("by")
	w.optional("role", string(m.By.Role))
	w.id("key_id", m.By.KeyID)
	w.end()
	w.end()
}
