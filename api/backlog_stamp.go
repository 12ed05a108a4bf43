package api

import "hatchwright/service"

// wireBacklogStamp is what open work an answer rests on.
type wireBacklogStamp struct {
	Version    optional `json:"version"`
	AsOf       moment   `json:"as_of"`
	Orders     int      `json:"orders"`
	Operations int      `json:"operations"`
	Scenarios  int      `json:"scenarios"`
	Stale      bool     `json:"stale"`
}

func toBacklogStamp(b *service.BacklogStamp) wireBacklogStamp {
	return wireBacklogStamp{optional(b.Version), moment(b.MadeAt), b.Orders, b.Operations, b.Scenarios, b.Stale}
}
