package laminate_test

import (
	"testing"

	"hatchwright/service/laminate"
)

// TestCustomIsHeldToAHand: a custom duty that asks for less than a hand is held to the
// hand as well; one that asks for more is not.
func TestCustomIsHeldToAHand(t *testing.T) {
	p := laminate.Panel{A: 500, B: 400}
	for _, c := range []struct {
		name   string
		demand laminate.Demand
		hand   bool
	}{
		{"next to nothing", laminate.Demand{Pressure: 0.0001, Force: 0.001, Radius: 75, Limit: 1}, true},
		{"pressure alone", laminate.Demand{Pressure: 5, Limit: 0.01}, true},
		{"a hand's force spread wide", laminate.Demand{Force: 250, Radius: 200, Limit: 0.01}, true},
		{"a hand", laminate.Demand{Force: 250, Radius: 50, Limit: 0.01}, false},
		{"a foot", laminate.Demand{Force: 1962, Radius: 75, Limit: 0.01}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.demand.Duty = laminate.Custom
			cases, err := laminate.Cases(c.demand, p)
			if err != nil {
				t.Fatal(err)
			}
			got := false
			for _, k := range cases {
				got = got || k.Name == "hand" && k.Force == 250 && k.Radius == 50 && k.Strength
			}
			if got != c.hand {
				t.Errorf("a hand among the checks: got %t, want %t", got, c.hand)
			}
		})
	}
}
