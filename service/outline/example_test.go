package outline_test

import (
	"errors"
	"fmt"

	"hatchwright/service/outline"
)

func ExampleOutline_Offset() {
	recess, _ := outline.Rectangle(500, 400, 40)
	lid, _ := recess.Offset(-3)
	fmt.Println(lid)
	fmt.Printf("%.3f mm round, %.3f mm² within\n", lid.Perimeter(), lid.Area())
	// By hand: 2 (420 + 320) + 2 π 37 round, 494 · 394 - 37² (4 - π) within.
	// Output:
	// outline(-247 -197 r37; 247 -197 r37; 247 197 r37; -247 197 r37)
	// 1712.478 mm round, 193460.840 mm² within
}

func ExampleRadiusTooLargeError() {
	_, err := outline.Rectangle(500, 400, 220)
	var large *outline.RadiusTooLargeError
	if errors.As(err, &large) {
		fmt.Println("largest radius that fits:", large.Largest)
	}
	// Output:
	// largest radius that fits: 200
}

func ExampleOutline_Breaks() {
	o, _ := outline.Rectangle(500, 400, 40)
	fmt.Println("corners go sharp at", o.Breaks(), "and nothing is left at", o.MaxInset())
	// Output:
	// corners go sharp at [40] and nothing is left at 200
}

func ExampleParse() {
	o, err := outline.Parse("outline(0 0; 300 0 r20; 300 200 r20; 0 200)")
	fmt.Println(o.Length(), o.Width(), len(o.Segments()), err)
	// Output:
	// 300 200 6 <nil>
}
