// Package laminate answers what a laminate of glass, resin and core is and what it can bear:
// the plies and their resin, the stack from the mold face outward, its mass, thickness, stiffness and ply
// stresses, the rules of a published standard for its least thickness, the check of a panel under a load,
// the choice of a schedule that passes, and the mixes of gelcoat, resin and filler for a shop temperature.
//
// # Units
//
// mm, N, MPa (= N/mm²), kg, kg/m² for areal mass, kg/m³ for density, °C, minutes for gel, hours for cure,
// m² for the area of a part. Percent of catalyst is by mass of the resin.
//
// # Axes
//
// z runs from the mold face (z = 0, the face of the finished part, gelcoat side) to the inside. The gelcoat is
// not structural: z = 0 is the first ply.
//
//	  load
//	vvvvvvvvv
//	=========  gelcoat film            (not in the section)
//	---------  z = 0   outer plies     compressed by a positive moment
//	  core
//	---------  inner plies             stretched by a positive moment
//	=========  z = Thickness
//
// A positive moment M (N·mm/mm) is the one a load on the mold face makes at mid-span.
//
// # Refused
//
// A glass fraction outside (0, 1), a negative or non-finite figure, an unknown kind, a core density outside the
// range of its table row, a temperature or catalyst percent outside the product's own table: each is an error
// that names the field and what would mend it. Nothing is extrapolated.
//
// # Sources
//
// ISO 12215-5:2008 (hull construction and scantlings), annexes C and D and clauses 8 and 10, as restated in
// public programs; where a licensed copy differs, the copy is right. The figures of the 2019 edition are never
// mixed in. ISO 12216 (hatches as appliances) is not evaluated. All calculation is independent.
// Rates, waste, transfer efficiency and working fractions have no published source: they are shop settings.
package laminate
