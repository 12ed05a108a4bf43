package api

import (
	"github.com/google/uuid"

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

// wireStockMoved are the moves that were made and the lots as they are then.
type wireStockMoved struct {
	Moves []wireStockMove `json:"moves"`
	Lots  []wireLot       `json:"lots"`
}

func toStockMoved(s *service.StockMoved) wireStockMoved {
	return wireStockMoved{rows(s.Moves, toStockMove), rows(s.Lots, toLot)}
}

// listStockMoves lists the stock's book.
func (a *api) listStockMoves(c *call) error {
	f := store.MoveFilter{LotID: c.queryID("lot_id"), OrderID: c.queryID("order_id"), Material: c.queryText("material"), Kind: stockroom.Kind(c.queryText("kind")),
		From: c.queryTime("created_from"), Before: c.queryTime("created_before")}
	l, err := a.service.ListMoves(c.Request().Context(), c.caller, f, c.page())
	if err != nil {
		return err
	}
	return sendList(c, l, toStockMove)
}

// wireStockMove is an entry of the book.
type wireStockMove struct {
	ID             uuid.UUID  `json:"id"`
	Kind           text       `json:"kind"`
	LotID          uuid.UUID  `json:"lot_id"`
	Material       text       `json:"material"`
	Amount         amount     `json:"amount"`
	OnHandChange   amount     `json:"on_hand_change"`
	ReservedChange amount     `json:"reserved_change"`
	OrderID        *uuid.UUID `json:"order_id"`
	Note           optional   `json:"note"`
	CreatedAt      moment     `json:"created_at"`
	By             wireActor  `json:"by"`
}

func toStockMove(m *record.StockMove) wireStockMove {
	return wireStockMove{m.ID, text(m.Kind), m.LotID, text(m.Material), amount(m.Amount), amount(m.Change.OnHand), amount(m.Change.Reserved),
		m.OrderID, optional(m.Note), moment(m.CreatedAt), toActor(m.By)}
}
