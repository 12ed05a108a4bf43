package api

import (
	"net/http"

	"hatchwright/service/stockroom"
)

// The problems of molds and stock.
var (
	problemMoldRetired = listed(problem{name: "mold-retired", status: http.StatusConflict, title: "The mold is retired",
		meaning: "A mold that was retired is out of use for good: nothing about it changes any more.",
		remedy:  "If it was retired by mistake and still stands, register it again; its tag is free."})
	problemStockAmount = listed(problem{name: "stock-amount", status: http.StatusBadRequest, title: "Not an amount that moves",
		meaning: "The amount is nothing, below 0 where only a count may be, or beyond all measure.",
		remedy:  "Give an amount above 0 in the material's unit. To correct what the book says is there, enter a count: its amount is the difference, above or below 0."})
	problemStockBelow = listed(problem{name: "stock-below", status: http.StatusConflict, title: "More than there is",
		meaning: "The move takes more than is there: more than the lot holds, or, of a material, more than is free and good today. Nothing was entered.",
		remedy:  "Take as much as the detail says is there. If the shelf holds more than the book, count the lot or receive what came in first."})
	problemStockReserved = listed(problem{name: "stock-reserved", status: http.StatusConflict, title: "It is set aside for an order",
		meaning: "The lot holds enough, but part of it is reserved, and the move would take of that. Nothing was entered.",
		remedy:  "Take as much as the detail says is free, take from another lot, or release a reservation first. What an order uses is an issue with its order_id."})
	problemStockFree = listed(problem{name: "stock-free", status: http.StatusConflict, title: "More than the order has reserved",
		meaning: "The move uses or gives back, for an order, more than that order has reserved of this lot. Nothing was entered.",
		remedy:  "Reserve the rest for the order first, or give at most what it has. The book, with lot_id and order_id, shows what was reserved and used."})
	problemStockExpired = listed(problem{name: "stock-expired", status: http.StatusConflict, title: "The lot is past its date",
		meaning: "A lot is good through its last day. This one is past it, so that nothing is set aside from it.",
		remedy:  "Reserve from another lot, or give the material instead of the lot: what expires first and is still good is taken. Scrap this one."})
	problemStockMaterial = listed(problem{name: "stock-material", status: http.StatusBadRequest, title: "No such material",
		meaning: "The price book, which says in what unit a material is counted, has no material of this key.",
		remedy:  "Look for a slip in the key. A new material goes into the price book first, with its unit and pack."})
	problemStockKind = listed(problem{name: "stock-kind", status: http.StatusBadRequest, title: "No such kind of move",
		meaning: "The kind of move is not one that the book knows.",
		remedy:  "Give one of the kinds that the contract lists under POST /v1/stock/moves."})
)

// byStockReason maps what the rules of the stock refuse.
var byStockReason = map[stockroom.Reason]*problem{
	stockroom.WrongAmount: problemStockAmount,
	stockroom.BelowZero:   problemStockBelow,
	stockroom.Reserved:    problemStockReserved,
	stockroom.NotReserved: problemStockFree,
	stockroom.Expired:     problemStockExpired,
	stockroom.Unknown:     problemStockMaterial,
	stockroom.NoKind:      problemStockKind,
}
