package api

import (
	"hatchwright/service"
	"hatchwright/service/bill"
)

func (w *writer) bill(b *bill.Bill, stock *service.StockAtHand) {
	w.object("bill")
	w.list("lines")
	for i := range b.Lines {
		l := &b.Lines[i]
		w.object("")
		w.text("key", l.Key)
		w.text("name", l.Name)
		w.text("purpose", l.Purpose)
		w.number("net", l.Net, quantityPlaces)
		w.text("unit", l.Unit)
		w.ratio("waste", l.Waste)
		w.number("gross", l.Gross, quantityPlaces)
		w.number("pack", l.Pack, quantityPlaces)
		w.integer("packs", l.Packs)
		w.money("price_per_pack", l.PricePerPack)
		w.money("cost", l.Cost)
		w.roll(l.Roll)
		w.text("from", l.From)
		w.end()
	}
	w.endList()
	if stock == nil {
		w.null("stock_on")
	} else {
		w.text("stock_on", stock.On.String())
	}
	w.purchases(b.Purchases)
	w.money("spend", b.Spend)
	w.list("labor")
	for i := range b.Labor {
		l := &b.Labor[i]
		w.object("")
		w.text("kind", l.Kind)
		w.text("work_center", l.Center)
		w.boolean("mold", l.Mold)
		w.hours("hours", l.Hours.Hours)
		w.money("rate", l.Rate)
		w.money("cost", l.Cost)
		w.end()
	}
	w.endList()
	t := &b.Totals
	w.object("totals")
	w.money("material", t.Material)
	w.money("labor", t.Labor)
	w.money("overhead", t.Overhead)
	w.money("mold", t.Mold)
	w.money("margin", t.Margin)
	w.money("discount", t.Discount)
	w.money("price_each", t.PriceEach)
	w.money("price", t.Price)
	w.end()
	w.end()
}

// roll writes how a line's pieces are cut from a roll; null for what does not come
// on one.
func (w *writer) roll(r *bill.Roll) {
	if r == nil {
		w.null("roll")
		return
	}
	w.object("roll")
	w.length("width", r.Width)
	w.length("length", r.Length)
	w.length("bound", r.Bound)
	w.integer("pieces", r.Pieces)
	w.end()
}

func (w *writer) purchases(list []bill.Purchase) {
	w.list("purchases")
	for i := range list {
		p := &list[i]
		w.object("")
		w.text("key", p.Key)
		w.text("name", p.Name)
		w.text("unit", p.Unit)
		w.number("gross", p.Gross, quantityPlaces)
		w.number("from_stock", p.FromStock, quantityPlaces)
		w.number("buy", p.Buy, quantityPlaces)
		w.number("pack", p.Pack, quantityPlaces)
		w.integer("packs", p.Packs)
		w.number("left", p.Left, quantityPlaces)
		w.money("price_per_pack", p.PricePerPack)
		w.money("cost", p.Cost)
		w.end()
	}
	w.endList()
}
