package profile_test

import (
	"fmt"

	"hatchwright/service/outline"
	"hatchwright/service/profile"
)

// A recess 20 deep, wall upright, with a root radius of 6 into a ledge 25 wide.
func recess() profile.Profile {
	p, _ := profile.New([]profile.Vertex{
		{At: profile.Point{N: 60, Z: 0}},
		{At: profile.Point{N: 0, Z: 0}, Radius: 3, Name: "edge"},
		{At: profile.Point{N: 0, Z: 20}, Radius: 6, Name: "root"},
		{At: profile.Point{N: -25, Z: 20}},
	})
	return p
}

func ExampleSweptArea() {
	o, _ := outline.Rectangle(500, 400, 40)
	area, _ := profile.SweptArea(o, recess())
	volume, _ := profile.EnclosedVolume(o, recess())
	fmt.Printf("%.4f m² to gelcoat, %.3f litres within\n", area/1e6, volume/1e6)
	// By hand: L = 1480 + 80 π; path 57 + 3π/2 + 11 + 3π + 19, integral of n over it
	// 1795.5 + 5.14 - 20.55 - 294.5. Volume: 198627 · 20, and the flare of the edge
	// radius, 3352, less the root fillet, 13311.
	// Output:
	// 0.1844 m² to gelcoat, 3.963 litres within
}

func ExampleLeastHorizontalClearance() {
	lid, _ := profile.New([]profile.Vertex{
		{At: profile.Point{N: -3, Z: 0}}, {At: profile.Point{N: -3, Z: 17}, Name: "foot"}})
	clear, at, _ := profile.LeastHorizontalClearance(recess(), lid, 0, 17)
	// By hand: 3 up from the ledge the radius stands off 6 - √(6² - 3²) = 0.804.
	fmt.Printf("%.3f mm clear, at %.0f mm down\n", clear, at)
	// Output:
	// 2.196 mm clear, at 17 mm down
}

func ExampleFilletSection() {
	area, fromFace := profile.FilletSection(10, 90)
	fmt.Printf("%.3f mm², centroid %.3f mm from each face\n", area, fromFace)
	// Output:
	// 21.460 mm², centroid 2.234 mm from each face
}
