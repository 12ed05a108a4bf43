package order

import (
	"fmt"
	"slices"
	"strings"

	"hatchwright/service/record"
)

// Action is something that happens to an order.
type Action string

// The actions.
const (
	Place       Action = "place"
	Schedule    Action = "schedule"
	Start       Action = "start"
	Finish      Action = "finish"
	Hold        Action = "hold"
	Release     Action = "release"
	Cancel      Action = "cancel"
	Ship        Action = "ship"
	PromiseAnew Action = "promise"
	RecordWork  Action = "record"
	backToHeld         = record.OrderState("as before the hold")
	unchanged          = record.OrderState("unchanged")
	noState            = record.OrderState("")
)

// Step is one row of the table: an action, the states from which it may be taken,
// where it leads, who may take it, what it needs and the event it emits.
type Step struct {
	Action Action
	From   []record.OrderState
	// HeldFrom narrows a row for on_hold to orders that were held in one of these
	// states; nil for any.
	HeldFrom []record.OrderState
	// HeldBy narrows a row for on_hold to holds that this role set; "" for any.
	HeldBy record.Role
	To     record.OrderState
	Who    record.Role // the least role that may
	Itself bool        // the service also takes it by itself, as the shop's keeper of promises
	Needs  string
	Event  Kind // "" for none
}

var beforeWork = []record.OrderState{record.OrderReceived, record.OrderScheduled}

// Steps is the state machine of an order, whole: what is no row here cannot
// happen.
var Steps = []Step{
	{Action: Place, From: []record.OrderState{noState}, To: record.OrderReceived, Who: record.RoleDealer,
		Needs: "an open quote within its validity", Event: OrderReceived},
	{Action: Schedule, From: beforeWork, To: record.OrderScheduled, Who: record.RoleShop, Itself: true,
		Needs: "the date that the schedule gives", Event: OrderScheduled},
	{Action: Start, From: beforeWork, To: record.OrderInWork, Who: record.RoleShop,
		Needs: "the record of a first operation", Event: OrderStarted},
	{Action: RecordWork, From: []record.OrderState{record.OrderInWork}, To: unchanged, Who: record.RoleShop,
		Needs: "an operation of the order that is not recorded as finished", Event: OperationRecorded},
	{Action: Finish, From: []record.OrderState{record.OrderInWork}, To: record.OrderReady, Who: record.RoleShop,
		Needs: "every operation recorded as finished", Event: OrderReady},
	{Action: Ship, From: []record.OrderState{record.OrderReady}, To: record.OrderShipped, Who: record.RoleShop,
		Needs: "nothing; carrier and tracking are kept when given", Event: OrderShipped},
	{Action: Hold, From: beforeWork, To: record.OrderOnHold, Who: record.RoleDealer,
		Needs: "a reason", Event: OrderHeld},
	{Action: Hold, From: []record.OrderState{record.OrderInWork}, To: record.OrderOnHold, Who: record.RoleShop,
		Needs: "a reason", Event: OrderHeld},
	{Action: Release, From: []record.OrderState{record.OrderOnHold}, HeldBy: record.RoleDealer, To: backToHeld, Who: record.RoleDealer,
		Needs: "nothing", Event: OrderReleased},
	{Action: Release, From: []record.OrderState{record.OrderOnHold}, To: backToHeld, Who: record.RoleShop,
		Needs: "nothing", Event: OrderReleased},
	{Action: Cancel, From: beforeWork, To: record.OrderCancelled, Who: record.RoleDealer,
		Needs: "a reason", Event: OrderCancelled},
	{Action: Cancel, From: []record.OrderState{record.OrderOnHold}, HeldFrom: beforeWork, To: record.OrderCancelled, Who: record.RoleDealer,
		Needs: "a reason", Event: OrderCancelled},
	{Action: Cancel, From: []record.OrderState{record.OrderInWork, record.OrderOnHold, record.OrderReady}, To: record.OrderCancelled, Who: record.RoleShop,
		Needs: "a reason", Event: OrderCancelled},
	{Action: PromiseAnew, From: []record.OrderState{record.OrderReceived, record.OrderScheduled, record.OrderInWork, record.OrderOnHold}, To: unchanged, Who: record.RoleShop, Itself: true,
		Needs: "another date, and its cause", Event: PromiseChanged},
}

// roles from the narrowest to the widest.
var roles = []record.Role{record.RoleStorefront, record.RoleDealer, record.RoleShop}

// reaches tells whether a role includes another one.
func reaches(role, needed record.Role) bool {
	return slices.Index(roles, role) >= slices.Index(roles, needed)
}

// fits tells whether a row is for an order as it stands.
func (s Step) fits(o record.Order) bool {
	if !slices.Contains(s.From, o.State) {
		return false
	}
	if o.State != record.OrderOnHold {
		return true
	}
	return (s.HeldFrom == nil || slices.Contains(s.HeldFrom, o.HeldFrom)) && (s.HeldBy == "" || s.HeldBy == o.HeldBy)
}

// Find is the row for an action on an order by a role. The error is a *Refusal:
// OrderClosed for an order that is shipped or cancelled, WrongState when nobody
// may take the action now, NotYours when another role may.
func Find(a Action, o record.Order, role record.Role) (Step, error) {
	known := false
	for _, s := range Steps {
		if s.Action != a || !s.fits(o) {
			continue
		}
		if reaches(role, s.Who) {
			return s, nil
		}
		known = true
	}
	switch {
	case known:
		return Step{}, refuse(NotYours, fmt.Sprintf("An order that is %s takes the shop to %s it. Ask the shop.", describe(o), a))
	case o.State.Closed():
		return Step{}, refuse(OrderClosed, fmt.Sprintf("The order is %s; nothing about it changes any more.", o.State))
	}
	return Step{}, refuse(WrongState, fmt.Sprintf("An order that is %s cannot be taken to: %s. That is possible from: %s.", describe(o), a, sources(a)))
}

func describe(o record.Order) string {
	if o.State == record.OrderOnHold {
		return fmt.Sprintf("on hold (%s before, held by the %s)", o.HeldFrom, o.HeldBy)
	}
	return string(o.State)
}

// sources lists the states from which an action is possible at all.
func sources(a Action) string {
	var list []string
	for _, s := range Steps {
		for _, from := range s.From {
			if s.Action == a && from != noState && !slices.Contains(list, string(from)) {
				list = append(list, string(from))
			}
		}
	}
	return strings.Join(list, ", ")
}

// Apply takes the step: the order's state, and what a hold remembers, change; the
// version rises by one. Everything else is left to the use case.
func (s Step) Apply(o record.Order, by record.Role) record.Order {
	o.Version++
	switch {
	case s.To == unchanged:
	case s.To == backToHeld:
		o.State, o.HeldFrom, o.HeldBy = o.HeldFrom, "", ""
	case s.To == record.OrderOnHold:
		o.HeldFrom, o.HeldBy, o.State = o.State, by, s.To
	default:
		o.State = s.To
		if s.To.Closed() {
			o.HeldFrom, o.HeldBy = "", ""
		}
	}
	return o
}

// Table writes the table in Markdown.
func Table() string {
	var b strings.Builder
	b.WriteString("| action | from | to | who | needs | event |\n| --- | --- | --- | --- | --- | --- |\n")
	for _, s := range Steps {
		var from []string
		for _, f := range s.From {
			text := "`" + string(f) + "`"
			if f == noState {
				text = "nothing"
			}
			if f == record.OrderOnHold {
				if s.HeldFrom != nil {
					text += " (held before work began)"
				}
				if s.HeldBy != "" {
					text += " (held by the " + string(s.HeldBy) + ")"
				}
			}
			from = append(from, text)
		}
		to := "`" + string(s.To) + "`"
		if s.To == backToHeld || s.To == unchanged {
			to = string(s.To)
		}
		who := string(s.Who)
		if s.Who == record.RoleDealer {
			who = "dealer, shop"
		}
		if s.Itself {
			who += ", the service"
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s | `%s` |\n", s.Action, strings.Join(from, ", "), to, who, s.Needs, s.Event)
	}
	return b.String()
}
