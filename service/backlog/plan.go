package backlog

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"hatchwright/service/record"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
	"hatchwright/service/stockroom"
)

// Version is the layout of a plan as it is kept.
const Version = 1

// Plan is the work of an order as it was when the order was accepted.
type Plan struct {
	Operations []Operation `json:"operations"`
	Needs      []Need      `json:"needs,omitempty"`
}

// Operation is a step of the graph.
type Operation struct {
	Key        string   `json:"key"`
	Kind       string   `json:"kind"`
	Part       string   `json:"part,omitempty"` // "" for the hatch as a whole
	Center     string   `json:"center,omitempty"`
	Hours      float64  `json:"hours"` // labor, by the estimate
	Crew       int      `json:"crew,omitempty"`
	Wait       float64  `json:"wait_hours,omitempty"`
	Unbroken   bool     `json:"unbroken,omitempty"`     // must not be broken off
	Follow     float64  `json:"follow_hours,omitempty"` // what waits for it begins so soon
	After      []string `json:"after,omitempty"`
	Mold       string   `json:"mold,omitempty"`       // the order's own
	Registered string   `json:"registered,omitempty"` // id in the mold register
	Risk       float64  `json:"risk,omitempty"`
	RiskHours  float64  `json:"risk_hours,omitempty"`
	RiskWait   float64  `json:"risk_wait_hours,omitempty"`
}

// Need is material that the order takes, and the kind of operation that takes it
// first.
type Need struct {
	Material string           `json:"material"`
	Unit     string           `json:"unit"`
	Amount   stockroom.Amount `json:"millionths"`
	Kind     string           `json:"kind"`
	Part     string           `json:"part,omitempty"`
}

// Operations are the steps of a line's routing, with keys as name makes them.
func Operations(steps []routing.Step, name func(key string) string) []Operation {
	out := make([]Operation, len(steps))
	for i, s := range steps {
		o := Operation{Key: name(s.Key), Kind: s.Kind, Part: s.Part, Center: s.WorkCenter, Hours: s.Labor.Hours(), Crew: s.Crew, Wait: s.Wait.Hours(), Unbroken: s.Unbroken, Follow: s.Follow.Hours(),
			Risk: s.Risk, RiskHours: s.RiskLabor.Hours(), RiskWait: s.RiskWait.Hours()}
		for _, a := range s.After {
			o.After = append(o.After, name(a))
		}
		switch {
		case s.Operation.Mold == "":
		case s.Registered != "":
			o.Registered = s.Registered
		default:
			o.Mold = name(s.Operation.Mold)
		}
		out[i] = o
	}
	return out
}

// Read reads a plan as it is kept. Error: one that says what cannot be read.
func Read(body []byte, version int) (Plan, error) {
	var p Plan
	if version != Version {
		return p, fmt.Errorf("plan of an order: layout %d: this program reads %d", version, Version)
	}
	if err := json.Unmarshal(body, &p); err != nil {
		return p, fmt.Errorf("plan of an order: %w", err)
	}
	p.noteParts()
	return p, nil
}

// noteParts gives operations their parts in a plan that was kept before plans noted
// them: there the key alone says it, "2-lid-1-gelcoat" being the lid's.
func (p Plan) noteParts() {
	if slices.ContainsFunc(p.Operations, func(o Operation) bool { return o.Part != "" }) {
		return
	}
	for i := range p.Operations {
		o := &p.Operations[i]
		if words := strings.Split(o.Key, "-"); len(words) > 1 && (words[1] == "receiver" || words[1] == "lid") {
			o.Part = words[1]
		}
	}
}

// operation is a step as the schedule has it.
func (o Operation) operation(job string) (schedule.Operation, error) {
	s := schedule.Operation{Key: o.Key, Kind: o.Kind, WorkCenter: o.Center, Crew: o.Crew, After: o.After, Unbroken: o.Unbroken, Risk: o.Risk}
	for _, f := range []struct {
		hours float64
		into  *time.Duration
	}{{o.Hours, &s.Labor}, {o.Wait, &s.Wait}, {o.RiskHours, &s.RiskLabor}, {o.RiskWait, &s.RiskWait}, {o.Follow, &s.Follow}} {
		d, err := schedule.Hours(f.hours)
		if err != nil {
			return s, fmt.Errorf("operation %q: %w", o.Key, err)
		}
		*f.into = d
	}
	switch {
	case o.Registered != "":
		s.Mold = routing.MoldKey(o.Registered)
	case o.Mold != "":
		s.Mold = job + " " + o.Mold
	}
	return s, nil
}

// InARow is what can be said of operations without their graph: one after the other.
func InARow(list []record.Operation) []Operation {
	out := make([]Operation, len(list))
	for i, o := range list {
		out[i] = Operation{Key: o.Key, Kind: o.Kind, Part: o.Part, Center: o.Center, Hours: o.Hours, Crew: o.Crew}
		if i > 0 {
			out[i].After = []string{list[i-1].Key}
		}
	}
	return out
}

// OperationKey names an operation within its order, fit for a path: "2-lid-mold-wax"
// for the operation "lid mold wax" of the second line.
func OperationKey(line int, key string) string {
	return fmt.Sprintf("%d-%s", line, strings.ReplaceAll(key, " ", "-"))
}
