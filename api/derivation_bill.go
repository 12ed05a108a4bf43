package api

import "hatchwright/service/bill"

func (w *writer) bill(b *bill.Bill) {
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
		w.text("from", l.From)
		w.end()
	}
	w.endList()
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
