package service

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/civil"
	"hatchwright/service/drawing"
	"hatchwright/service/fault"
	"hatchwright/service/quantity"
	"hatchwright/service/record"
	"hatchwright/service/shop"
	"hatchwright/store"
)

// chartDays is how far a chart of the shop looks ahead when it is not said: six
// weeks, about as long as the orders of a small shop take.
const chartDays = 42

// Chart is a picture of the shop with what names it for a cache: the same backlog,
// asked the same, gives the same bytes.
type Chart struct {
	Picture
	Backlog BacklogStamp
	// Next is the sheet after the one drawn, 0 after the last and where all are.
	Next int
}

// DrawSchedule draws the plan of the shop's open work: the posts week by week, then
// the orders. sheet is the one to draw, from 1; 0 is the first, and all of them where
// the format has pages. For the shop.
func (s *Service) DrawSchedule(ctx context.Context, c Caller, days Days, sheet int) (Chart, error) {
	plan, err := s.shopSchedule(c, days, chartDays)
	if err != nil {
		return Chart{}, err
	}
	names, err := s.dealerNames(ctx)
	if err != nil {
		return Chart{}, err
	}
	p := plan.Engine.Documents().Profile
	g := drawing.Gantt{Title: "Plan of " + p.Name, Note: asOf(plan.Backlog, plan.Zone), From: plan.Days.From, Days: plan.Days.Count(),
		Calendar: plan.Engine.Calendar(), Now: plan.Backlog.MadeAt, Paper: paperOf(p), Foot: feet(plan.Backlog, plan.Days, plan.Until, len(plan.Left))}
	row := map[string]string{}
	for _, k := range plan.Centers {
		for post := range k.Posts {
			name := k.Name
			if k.Posts > 1 {
				name = fmt.Sprintf("%s %d", k.Name, post+1)
			}
			g.Rows = append(g.Rows, name)
			row[fmt.Sprint(k.Key, post)] = name
		}
	}
	// Orders are numbered as their work begins.
	orders := slices.Clone(plan.Orders)
	slices.SortStableFunc(orders, func(a, b backlog.PlannedOrder) int { return a.Start.Compare(b.Start) })
	marks := map[string]string{}
	for i, o := range orders {
		mark := fmt.Sprint(i + 1)
		marks[o.OrderID.String()] = mark
		promise, err := civil.ParseDate(o.Promise)
		if err != nil {
			promise = civil.Date{} // none
		}
		g.Orders = append(g.Orders, drawing.OrderBar{Mark: mark, Name: o.Name(names), Start: o.Start, End: o.End, P50: o.P50, P80: o.P80, P95: o.P95, Promise: promise, Late: o.Late})
	}
	for _, o := range plan.Operations {
		if o.Post < 0 {
			continue
		}
		g.Bars = append(g.Bars, drawing.Bar{Row: row[fmt.Sprint(o.WorkCenter, o.Post)], Start: o.Start, LaborEnd: o.LaborEnd, End: o.End, Work: o.Work,
			Mark: marks[o.Job], Label: strings.ReplaceAll(o.Kind, "_", " "), Critical: o.Critical, Started: o.Started})
	}
	return chart("schedule", g, sheet, plan.Backlog, plan.Days)
}

// DrawLoad draws the load of the work centers by day; for the shop.
func (s *Service) DrawLoad(_ context.Context, c Caller, days Days, sheet int) (Chart, error) {
	load, err := s.shopLoad(c, days, chartDays)
	if err != nil {
		return Chart{}, err
	}
	p := load.Engine.Documents().Profile
	l := drawing.Load{Title: "Load of " + p.Name, Note: asOf(load.Backlog, load.Zone), Days: load.Loads, From: load.Days.From, Count: load.Days.Count(),
		Calendar: load.Engine.Calendar(), Now: load.Backlog.MadeAt, Paper: paperOf(p), Foot: feet(load.Backlog, load.Days, load.Until, 0)}
	for _, k := range load.Centers {
		l.Rows = append(l.Rows, drawing.LoadRow{Center: k.Key, Name: k.Name, Posts: k.Posts})
	}
	return chart("load", l, sheet, load.Backlog, load.Days)
}

// paperOf is the paper that goes with the shop's units.
func paperOf(p *shop.Profile) drawing.Paper {
	units, _ := quantity.ParseSystem(p.Units) // checked when it was put
	return drawing.PaperFor(units)
}

// chart makes the picture of what can be drawn.
func chart(name string, what interface {
	Draw() (drawing.Drawing, error)
}, sheet int, stamp BacklogStamp, days Days) (Chart, error) {
	d, err := what.Draw()
	if err != nil {
		return Chart{}, fault.Wrap(fault.Internal, err, "The chart could not be drawn.")
	}
	if sheet > len(d.Sheets) {
		return Chart{}, &fault.Error{Kind: fault.Invalid, Detail: "There is no such sheet; see errors.", Fields: []fault.Field{{Parameter: "sheet", Code: "no_such_sheet",
			Message: fmt.Sprintf("There are %d sheets: give a number from 1 to %d, or leave it out.", len(d.Sheets), len(d.Sheets))}}}
	}
	next := 0
	if n := max(1, sheet) + 1; n <= len(d.Sheets) {
		next = n
	}
	p := Picture{Name: name, Title: d.Title, File: fmt.Sprintf("%s-%s-%s", name, days.From, days.To)}
	if sheet > 0 {
		d.Sheets = d.Sheets[sheet-1 : sheet]
		p.File += fmt.Sprintf("-sheet-%d", sheet)
	}
	for _, f := range d.Formats() {
		p.Formats = append(p.Formats, PictureFormat(f))
	}
	p.render = func(f PictureFormat) ([]byte, error) {
		if f == FormatPNG {
			return d.PNG(pictureDPI)
		}
		return d.Render(drawing.Format(f))
	}
	return Chart{p, stamp, next}, nil
}

// dealerNames are the names of all dealers.
func (s *Service) dealerNames(ctx context.Context) (map[uuid.UUID]string, error) {
	list, err := every(func(p store.Page) (store.Listing[record.Dealer], error) {
		return s.store.Dealers().List(ctx, store.ShopScope(), p)
	})
	names := map[uuid.UUID]string{}
	for _, d := range list {
		names[d.ID] = d.Name
	}
	return names, storeFault(err, "dealer")
}

// asOf says of when a chart is.
func asOf(b BacklogStamp, zone *time.Location) string {
	return "as of " + b.MadeAt.In(zone).Format("Mon 2 Jan 2006 15:04 MST")
}

// feet are the notes under a chart: what is not drawn, and why.
func feet(b BacklogStamp, days Days, until civil.Date, left int) []string {
	var out []string
	if b.Stale {
		out = append(out, "The open orders are being worked out anew; this is not all of them yet.")
	}
	if until.Compare(days.To) > 0 {
		out = append(out, fmt.Sprintf("Work is planned until %s; these sheets end before it.", until.At(0, time.UTC).Format("2 Jan 2006")))
	}
	if left == 1 {
		out = append(out, "1 open order could not be planned and is not drawn; the data say why.")
	} else if left > 1 {
		out = append(out, fmt.Sprintf("%d open orders could not be planned and are not drawn; the data say why.", left))
	}
	return out
}
