// Package nest lays rectangular panels out on stock sheets so that a saw that
// only cuts from edge to edge (guillotine cuts: table saw, panel saw, track saw)
// can cut them, and says how good its answer is.
//
// # Units and axes
//
// Everything is in millimetres. A sheet lies with its Length along x and its
// Width along y; the origin is the corner of the sheet as delivered, before the
// edge trim. A panel that may not be turned keeps its Length along x.
//
//	y
//	^  +--------------------------------------+
//	|  | trim                                 |
//	|  |  +---------+k+-----------+k+------+  |
//	|  |  |         |e|           |e|      |  |  Width
//	|  |  | panel   |r| panel     |r|offcut|  |
//	|  |  |         |f|           |f|      |  |
//	|  |  +---------+-+-----------+-+------+  |
//	|  +--------------------------------------+
//	+-------------- Length -------------------> x
//
// # Kerf and trim
//
// The blade turns a line of width Kerf into dust between any two panels. With
// the usable sheet W and every panel w both enlarged by the kerf k, panels may
// touch, and n strips fit when n (w + k) <= W + k, which is the shop rule
// n = floor((W + k)/(w + k)). The edge trim comes off each of the four sides
// and already contains the kerf of its own cut.
//
// # What is looked for, what is promised
//
// Guillotine uses as few sheets as it can find, then the least cost of sheets,
// then the largest single offcut. Plan.Bound is a proved lower bound on the
// number of sheets: Status is Optimal only when the sheets used equal it. The
// promise concerns the number of sheets alone, not the cost or the offcut.
// The search is counted in steps, never timed, and draws its random numbers from
// a fixed seed, so equal input gives an equal plan.
//
// The first plan comes from a constructive packer run in many orders. If it
// misses the bound, a job of up to eight panels is decided exactly; for a larger one
// sheets are filled in sequence with what is worth most, then emptied one by one
// into the others. Over the 150 published instances of the ten classes in
// testdata/reference the sheets stay within 3 % of the proved bound in total, fixed
// and turned; a test holds them to it and prints the table.
//
// Roll does the like for cloth and core off a roll: least length, proved to one
// part in a thousand when Optimal.
//
// # What Verify proves
//
// Verify looks at placements alone and shares no code with the search: sizes,
// counts, edges, a kerf between any two panels, and by recursion that cuts from
// edge to edge can part them. The offcut is checked as one more part.
//
// # What is refused
//
// Numbers that are not finite, sizes that are not positive, negative kerf or
// trim, more than MaxPieces panels, a trim that leaves nothing, and a panel
// that fits on no sheet (the error carries the largest panel that would).
//
// # Sources
//
// Lower bounds: S. P. Fekete, J. Schepers, New classes of fast lower bounds for
// bin packing problems, Mathematical Programming 91 (2001) 11-31 (dual feasible
// functions), after S. Martello, D. Vigo, Management Science 44 (1998) 388-399.
// Sheet emptying: the idea of an ejection pool with counted failures, Y. Nagata,
// O. Braysy, Operations Research Letters 37 (2009) 333-338, taken over from
// vehicle routing (journal details from memory).
package nest
