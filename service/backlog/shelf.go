package backlog

import (
	"time"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/record"
	"hatchwright/service/schedule"
	"hatchwright/service/shop"
	"hatchwright/service/stockroom"
)

// Shelf is what the stock has free, good today, and how long the rest takes to
// come. Materials that there has never been a lot of are not kept in stock: they
// are taken to be there.
type Shelf struct {
	Kept     map[string]bool
	Free     map[string]stockroom.Amount
	sources  map[string]shop.Purchase
	calendar *schedule.Calendar
	today    civil.Date
	Lots     []record.Lot
}

// NewShelf reads the stock for a day: materials that are kept and the lots on hand.
func NewShelf(e *derivation.Engine, now time.Time, kept []string, lots []record.Lot) Shelf {
	h := Shelf{Kept: map[string]bool{}, Free: map[string]stockroom.Amount{}, sources: e.Documents().Materials.Purchasing, calendar: e.Calendar(),
		today: civil.DateOf(now, e.Location()), Lots: lots}
	for _, k := range kept {
		h.Kept[k] = true
	}
	for _, l := range lots {
		if !stockroom.Past(stockroom.Day(l.ExpiresOn), h.today) {
			h.Free[l.Material] += l.OnHand - l.Reserved
		}
	}
	return h
}

// MaterialWait is a material that is short, and when it can be there.
type MaterialWait struct {
	Material  string
	Part      string // the part that takes it; "" for all
	Unit      string
	Short     stockroom.Amount
	ArrivesOn *civil.Date // ordered today; nil when nobody has said how it is bought: it is then not waited for
	at        time.Time
}

// lacks tells which of the needs the shelf cannot meet, and takes what it can from
// taken, which says how much of the shelf others have taken already.
func (h Shelf) lacks(needs []Need, taken map[string]stockroom.Amount) []MaterialWait {
	var out []MaterialWait
	for _, n := range needs {
		if !h.Kept[n.Material] {
			continue
		}
		free := max(0, h.Free[n.Material]-taken[n.Material])
		taken[n.Material] += min(free, n.Amount)
		if n.Amount <= free {
			continue
		}
		w := MaterialWait{Material: n.Material, Part: n.Part, Unit: n.Unit, Short: n.Amount - free}
		if source, ok := h.sources[n.Material]; ok {
			if on, ok := stockroom.Arrival(h.calendar, h.today, source.LeadDays); ok {
				w.ArrivesOn = &on
				w.at = h.calendar.Next(on.At(0, h.calendar.Location()))
			}
		}
		out = append(out, w)
	}
	return out
}
