// Package plate solves thin elastic plates that are simply supported all round: the rectangle under a uniform
// pressure and under a load spread evenly over a disc anywhere on it, and the circular plate under the same.
//
// # Units and axes
//
// Any consistent set; the callers use mm and N, so moments per unit width are N·mm/mm = N. Every result is per
// unit of load: per unit pressure (N/mm²) for the uniform load, per unit of total force (N) for the disc.
// Deflections come multiplied by the plate stiffness D (N·mm), because D is the only place where the material
// enters besides Poisson's ratio.
//
//	y ^
//	B +-----------------+     w = 0 and no edge moment on all four edges
//	  |        ___      |     Disc{X, Y, Radius}
//	  |       /   \     |     Mx bends along x (stress along x), My along y
//	  |       \___/     |     moments are positive when they sag (tension on the far face)
//	  +-----------------+--> x
//	  0                 A
//
// # Range
//
// Small deflections of thin plates: below about half the thickness (see LargeDeflection). Shear deformation of a
// sandwich core follows from the moment sum, see Field.MomentSum.
//
// # Method
//
// No table is looked up. The uniform load uses the single series of M. Lévy. The disc load is summed exactly in
// closed form: the strip of infinite length by polylogarithms, the far edges by images whose terms fall as
// exp(-pi t/a), and the spread over the disc by the mean value property of biharmonic functions, which ends
// after two terms. On the circular plate the disc load is J. H. Michell's clamped solution with the edge moment taken
// away by a series in the angle that is summed to double precision. S. P. Timoshenko and S. Woinowsky-Krieger, Theory
// of Plates and Shells, 2nd ed. 1959, articles 30 to 37, 16 to 19 and 64, holds the series this rests on (from memory;
// the tests check the results against its tables and against numerical solutions).
//
// # Refused
//
// Sides that are not positive and finite, a disc that does not lie within the plate, Poisson's ratio outside
// [0, 0.5).
package plate
