// Package tooling turns a hatch's geometry into all that is made before the first
// laminate: the molds, the templates and router steps that shape them, what is
// sawn from which sheet, the screws, and how far the gap may come out from what
// was drawn. Lengths are millimeters, masses kilograms, angles degrees.
//
// The receiver is laid over a male plug, the lid into a female cavity; [Molds] says
// from which sheets each block is stacked, where filler makes an inside radius,
// where the router rounds an edge, how much face there is to seal, wax and gelcoat.
//
//	receiver plug                      lid cavity
//	      ┌────────┐  block 2          ┌────╮        ╭────┐ rim, rounded
//	   ╭──┘        └──╮ block 1        │    │ hole   │    │ cavity boards
//	───╯              ╰─── base        ├────╰────────╯────┤ fillet at the foot
//	───────────────────────            └──────────────────┘ base
//
// # Router
//
// Every edge is copied from a template by a bearing. Two ways change the size, both
// exact offsets of the outline:
//
//	rabbet and trim   new template = Offset(old, -(cutter - bearing)/2)
//	follow outside    hole = Offset(template, +d), d the bit's diameter
//
// The planner takes the shop's bits ([Crib]) and the outlines that the molds need,
// and finds the plan with the fewest masters laid out by hand, then the fewest cuts,
// the least accumulated error and the fewest changes of bit. It names a bound on the
// cuts and says whether its plan is optimal. What the crib does not make has a
// master of its own: a caution, never a refusal. [RuleCrib] tells such cautions, with
// the figures that would mend them.
//
// # Refused
//
// Nothing of a configuration: a depth that no stack of stocked sheets gives, an
// offset, a corner, a draft, a radius that no bit cuts, a board larger than a sheet
// are findings with mends. Errors are shop data that lacks what is needed.
//
// Sources: common practice throughout, unless a figure's comment names another.
package tooling
