package plate_test

import (
	"fmt"

	"hatchwright/service/plate"
)

// A person of 100 kg in the middle of a lid of 8 mm solid laminate.
func ExampleRectangle_DiscPeak() {
	lid := plate.Rectangle{A: 500, B: 700}
	p, err := lid.DiscPeak(0.3, 75)
	if err != nil {
		fmt.Println(err)
		return
	}
	const force, thickness, modulus = 981.0, 8.0, 6400.0
	d := modulus * thickness * thickness * thickness / (12 * (1 - 0.3*0.3))
	y := force * p.Deflection / d
	fmt.Printf("stress %.1f MPa, deflection %.1f mm, large: %v\n", force*p.Sagging*6/(thickness*thickness), y, plate.LargeDeflection(y, thickness))
	// Output: stress 19.5 MPa, deflection 11.2 mm, large: true
}

func ExampleRectangle_Uniform() {
	f, err := plate.Rectangle{A: 1, B: 2}.Uniform(0.3, 0.5, 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.5f %.4f %.4f\n", f.Deflection, f.MX, f.MY)
	// Output: 0.01013 0.1017 0.0464
}
