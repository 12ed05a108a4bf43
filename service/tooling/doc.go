// Package tooling turns a hatch's geometry into the molds it is made on: which
// sheets each block is stacked from, where filler makes an inside radius, where
// the router rounds an edge, how much face there is to seal, wax and gelcoat.
//
// The receiver is laid over a male plug, the lid into a female cavity. Lengths
// are millimeters, masses kilograms.
//
//	receiver plug                      lid cavity
//	      ┌────────┐  block 2          ┌────╮        ╭────┐ rim, rounded
//	   ╭──┘        └──╮ block 1        │    │ hole   │    │ cavity boards
//	───╯              ╰─── base        ├────╰────────╯────┤ fillet at the foot
//	───────────────────────            └──────────────────┘ base
//
// A depth that no stack of stocked sheets gives is a finding with the nearest
// buildable depths as mends. Sources: common practice throughout.
package tooling
