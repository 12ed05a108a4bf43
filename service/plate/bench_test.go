package plate_test

import (
	"testing"

	"hatchwright/service/plate"
)

var sink float64

func BenchmarkDiscField(b *testing.B) {
	r := plate.Rectangle{A: 500, B: 700}
	for b.Loop() {
		f, err := r.Disc(0.3, plate.Disc{X: 250, Y: 350, Radius: 75}, 250, 350)
		if err != nil {
			b.Fatal(err)
		}
		sink += f.MX
	}
}

func BenchmarkDiscPeak(b *testing.B) {
	r := plate.Rectangle{A: 500, B: 700}
	for b.Loop() {
		p, err := r.DiscPeak(0.3, 75)
		if err != nil {
			b.Fatal(err)
		}
		sink += p.Sagging
	}
}

func BenchmarkUniformPeak(b *testing.B) {
	r := plate.Rectangle{A: 500, B: 700}
	for b.Loop() {
		p, err := r.UniformPeak(0.3)
		if err != nil {
			b.Fatal(err)
		}
		sink += p.Sagging
	}
}
