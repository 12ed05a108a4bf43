package api

import (
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
	"hatchwright/service/civil"
	"hatchwright/service/schedule"
)

// wireDays are which days an answer is of, in which zone, and the shop's centers.
type wireDays struct {
	From         text         `json:"from"`
	To           text         `json:"to"`
	PlannedUntil text         `json:"planned_until"`
	TimeZone     text         `json:"time_zone"`
	WorkCenters  []wireCenter `json:"work_centers"`
}

type wireCenter struct {
	Key   text `json:"key"`
	Name  text `json:"name"`
	Posts int  `json:"posts"`
}

func toDays(days backlog.Days, until civil.Date, zone *time.Location, centers []backlog.CenterRow) wireDays {
	return wireDays{text(days.From.String()), text(days.To.String()), text(until.String()), text(zone.String()),
		rows(centers, func(k *backlog.CenterRow) wireCenter { return wireCenter{text(k.Key), text(k.Name), k.Posts} })}
}

// wireShopSchedule is the plan of the open work, times in the shop's zone.
type wireShopSchedule struct {
	wireDays
	Operations []wireScheduledOperation `json:"operations"`
	Orders     []wireScheduledOrder     `json:"orders"`
	LeftOut    []wireLeftOut            `json:"left_out"`
	Backlog    wireBacklogStamp         `json:"backlog"`
}

// wireScheduledOperation has no center and no post where it waits alone.
type wireScheduledOperation struct {
	OrderID    text            `json:"order_id"`
	Key        text            `json:"key"`
	Kind       text            `json:"kind"`
	WorkCenter optional        `json:"work_center"`
	Post       *int            `json:"post"`
	Ready      instant         `json:"ready"`
	Start      instant         `json:"start"`
	LaborEnd   instant         `json:"labor_end"`
	End        instant         `json:"end"`
	Work       []wireWorkPiece `json:"work"`
	WaitedFor  wireCause       `json:"waited_for"`
	Started    bool            `json:"started"`
	Critical   bool            `json:"critical"`
}

type wireWorkPiece struct {
	Start instant `json:"start"`
	End   instant `json:"end"`
}

type wireCause struct {
	Cause text `json:"cause"`
	Key   text `json:"key"`
}

type wireScheduledOrder struct {
	OrderID           uuid.UUID  `json:"order_id"`
	DealerID          *uuid.UUID `json:"dealer_id"`
	PurchaseReference optional   `json:"purchase_reference"`
	State             text       `json:"state"`
	Promise           optional   `json:"promise"`
	Start             instant    `json:"start"`
	End               instant    `json:"end"`
	LateHours         hours      `json:"late_hours"`
	P50               instant    `json:"p50"`
	P80               instant    `json:"p80"`
	P95               instant    `json:"p95"`
	Driver            wireDriver `json:"driver"`
}

// wireDriver is what decides an end, and how long it takes.
type wireDriver struct {
	Cause text  `json:"cause"`
	Key   text  `json:"key"`
	Hours hours `json:"hours"`
}

type wireLeftOut struct {
	OrderID uuid.UUID `json:"order_id"`
	Why     text      `json:"why"`
}

func toShopSchedule(s *backlog.ShopSchedule) wireShopSchedule {
	at := func(t time.Time) instant { return instant(t.In(s.Zone)) }
	return wireShopSchedule{
		wireDays: toDays(s.Days, s.Until, s.Zone, s.Centers), Backlog: toBacklogStamp(&s.Backlog),
		Operations: rows(s.Operations, func(o *backlog.PlannedOperation) wireScheduledOperation {
			out := wireScheduledOperation{OrderID: text(o.Job), Key: text(o.Operation), Kind: text(o.Kind), Ready: at(o.Ready), Start: at(o.Start), LaborEnd: at(o.LaborEnd), End: at(o.End),
				Work:      rows(o.Work, func(p *schedule.Interval) wireWorkPiece { return wireWorkPiece{at(p.Start), at(p.End)} }),
				WaitedFor: wireCause{text(o.Cause), text(o.CauseKey)}, Started: o.Started, Critical: o.Critical}
			if o.Post >= 0 {
				post := o.Post + 1
				out.WorkCenter, out.Post = optional(o.WorkCenter), &post
			}
			return out
		}),
		Orders: rows(s.Orders, func(o *backlog.PlannedOrder) wireScheduledOrder {
			return wireScheduledOrder{o.OrderID, o.DealerID, optional(o.Reference), text(o.State), optional(o.Promise), at(o.Start), at(o.End), hours(o.Late.Hours()),
				at(o.P50), at(o.P80), at(o.P95), wireDriver{text(o.Driver.Cause), text(o.Driver.Key), hours(o.Driver.Time.Hours())}}
		}),
		LeftOut: rows(s.Left, func(l *backlog.LeftOut) wireLeftOut { return wireLeftOut{l.OrderID, text(l.Why)} }),
	}
}
