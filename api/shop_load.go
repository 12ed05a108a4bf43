package api

import (
	"hatchwright/service/backlog"
	"hatchwright/service/schedule"
)

// wireShopLoad is the hours planned at each center, by day.
type wireShopLoad struct {
	wireDays
	Days    []wireDayLoad    `json:"days"`
	Backlog wireBacklogStamp `json:"backlog"`
}

type wireDayLoad struct {
	WorkCenter     text  `json:"work_center"`
	Date           text  `json:"date"`
	PlannedHours   hours `json:"planned_hours"`
	AvailableHours hours `json:"available_hours"`
	Closed         bool  `json:"closed"`
}

func toShopLoad(l *backlog.ShopLoad) wireShopLoad {
	return wireShopLoad{toDays(l.Days, l.Until, l.Zone, l.Centers),
		rows(l.Loads, func(d *schedule.DayLoad) wireDayLoad {
			return wireDayLoad{text(d.WorkCenter), text(d.Date.String()), hours(d.Busy.Hours()), hours(d.Available.Hours()), d.Closed}
		}), toBacklogStamp(&l.Backlog)}
}
