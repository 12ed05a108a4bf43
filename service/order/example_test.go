package order_test

import (
	"fmt"

	"hatchwright/service/order"
	"hatchwright/service/record"
)

// A dealer may put an order on hold before work begins, and not after.
func ExampleFind() {
	o := record.Order{State: record.OrderScheduled, Version: 2}
	step, err := order.Find(order.Hold, o, record.RoleDealer)
	if err != nil {
		fmt.Println(err)
		return
	}
	o = step.Apply(o, record.RoleDealer)
	fmt.Println(o.State, "from", o.HeldFrom, "version", o.Version, "emits", step.Event)

	_, err = order.Find(order.Hold, record.Order{State: record.OrderInWork}, record.RoleDealer)
	fmt.Println(err)
	// Output:
	// on_hold from scheduled version 3 emits order.held
	// An order that is in_work takes the shop to hold it. Ask the shop.
}
