package model3d

import (
	"fmt"
	"math"

	"hatchwright/service/profile"
)

// Thicken returns the parallel curve of p at the distance t, mm: the other face
// of a laminate. A positive t goes to the side that a quarter turn from +n
// towards +z points to from the direction of travel:
//
//	p running towards +n (lid):  t > 0 is below it
//	p running towards -n (receiver):  t < 0 is below it
//
// Every leg moves t along its normal and a radius changes by t; where it is used
// up the corner is sharp. Errors are those of [profile.New]: a leg that turns
// round because it is too short for the thickness has no parallel curve.
func Thicken(p profile.Profile, t float64) (profile.Profile, error) {
	v := p.Vertices()
	n := len(v)
	if n < 2 {
		return profile.Profile{}, fmt.Errorf("thicken: the section has no path")
	}
	type leg struct{ un, uz float64 }
	legs := make([]leg, n-1)
	for i := range legs {
		dn, dz := v[i+1].At.N-v[i].At.N, v[i+1].At.Z-v[i].At.Z
		l := math.Hypot(dn, dz)
		legs[i] = leg{dn / l, dz / l}
	}
	out := make([]profile.Vertex, n)
	for i := range v {
		out[i] = v[i]
		a, b := legs[max(i-1, 0)], legs[min(i, n-2)]
		// The mitre of the two normals: (na + nb) / (1 + na . nb).
		na, nb := profile.Point{N: -a.uz, Z: a.un}, profile.Point{N: -b.uz, Z: b.un}
		k := t / (1 + na.N*nb.N + na.Z*nb.Z)
		out[i].At.N += (na.N + nb.N) * k
		out[i].At.Z += (na.Z + nb.Z) * k
		if v[i].Radius > 0 {
			turn := math.Copysign(1, a.un*b.uz-a.uz*b.un)
			out[i].Radius = math.Max(v[i].Radius-turn*t, 0)
		}
	}
	for i := range legs {
		dn, dz := out[i+1].At.N-out[i].At.N, out[i+1].At.Z-out[i].At.Z
		if dn*legs[i].un+dz*legs[i].uz <= 0 {
			return profile.Profile{}, fmt.Errorf("thicken by %g mm: the leg before %q is too short for it", math.Abs(t), v[i+1].Name)
		}
	}
	back, err := profile.New(out)
	if err != nil {
		return profile.Profile{}, fmt.Errorf("thicken by %g mm: %w", math.Abs(t), err)
	}
	return back, nil
}
