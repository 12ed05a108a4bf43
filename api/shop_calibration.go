package api

import (
	"hatchwright/service"
	"hatchwright/service/backlog"
)

// wireCalibration is what was learned from the floor's reports, and how the percentiles
// that were given held.
type wireCalibration struct {
	Kinds          []wireLearnedKind `json:"kinds"`
	RefusedReports int               `json:"refused_reports"`
	Coverage       wireCoverage      `json:"coverage"`
	Backlog        wireBacklogStamp  `json:"backlog"`
}

type wireLearnedKind struct {
	Kind         text  `json:"kind"`
	Reports      int   `json:"reports"`
	Factor       ratio `json:"factor"`
	Spread       ratio `json:"spread"`
	FactorBefore ratio `json:"factor_before"`
	SpreadBefore ratio `json:"spread_before"`
}

type wireCoverage struct {
	Orders int              `json:"orders"`
	P50    wireCoveredShare `json:"p50"`
	P80    wireCoveredShare `json:"p80"`
	P95    wireCoveredShare `json:"p95"`
}

// wireCoveredShare has no share before any order is finished.
type wireCoveredShare struct {
	Orders int    `json:"orders"`
	Share  *ratio `json:"share"`
}

func toCalibration(k *service.Calibration) wireCalibration {
	p50, p80, p95, known := k.Coverage.Shares()
	share := func(orders int, share float64) wireCoveredShare {
		if !known {
			return wireCoveredShare{Orders: orders}
		}
		return wireCoveredShare{orders, (*ratio)(&share)}
	}
	return wireCalibration{
		Kinds: rows(k.Kinds, func(l *backlog.Learned) wireLearnedKind {
			return wireLearnedKind{text(l.Kind), l.Observations, ratio(l.Spread.Factor), ratio(l.Spread.Sigma), ratio(l.Prior.Factor), ratio(l.Prior.Sigma)}
		}),
		RefusedReports: k.Refused,
		Coverage:       wireCoverage{k.Coverage.Finished, share(k.Coverage.ByP50, p50), share(k.Coverage.ByP80, p80), share(k.Coverage.ByP95, p95)},
		Backlog:        toBacklogStamp(&k.Backlog),
	}
}
