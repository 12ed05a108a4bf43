// Package derivation runs everything for one configuration: it completes it,
// rules on it, solves the mends, and, when it can be made, works out molds,
// laminates, masses, mixes, bill and lead time. It is the one function that knows
// them all.
//
// It is pure: the shop's documents and the start of work are inputs. Lengths are
// millimeters, masses kilograms, hours decimal hours, temperatures °C. Plan axes: x
// forward, y to port; z down from the deck. A configuration that cannot be made is
// no error: the result's verdict and findings say so. Errors are shop data that
// lacks what is needed (a rate), named.
//
// # Findings of this package
//
// Those of shape and fit are part's, those of molds and tools tooling's. Here:
//
//	laminate.resin_unknown, gelcoat.color_unknown, laminate.material_unknown, hardware.unknown
//	                              error    the row is not stocked; mends: what is
//	laminate.core_misplaced       error    a core in the receiver, or a second one
//	laminate.skin_missing         error    no glass on a face
//	laminate.no_barrier           caution  no light mat against the gelcoat
//	laminate.ply_over_exotherm    caution  one ply is thicker than the resin may be laid at once
//	laminate.overloaded           error    the lid's worst utilization under its duty is over 1
//	laminate.not_checked          error    strength cannot be worked out; why
//	laminate.large_deflection     note     beyond small-deflection theory: figures too large, conservative
//	laminate.thin                 caution  a solid laminate under the standard's least thickness of a deck
//	laminate.outer_skin_thin, laminate.inner_skin_thin
//	                              caution  a skin under the standard's least dry glass of a deck
//	laminate.no_schedule          error    nothing stocked passes; measured: the best utilization found
//	laminate.not_chosen           error    the automatic schedule cannot be searched; why
//	laminate.choice_not_proved    note     the search's budget ended before the proof
//	laminate.choice_changed       note     plies given back with an automatic schedule are not those chosen now
//	laminate.too_cold, laminate.too_hot, gelcoat.too_cold, gelcoat.too_hot, mold.filler.too_cold, mold.filler.too_hot
//	                              error    the shop's temperature is outside the product's own table
//	laminate.catalyst, gelcoat.catalyst, mold.filler.catalyst
//	                              error    no permitted catalyst percent there
//	laminate.catalyst_unusual, gelcoat.catalyst_unusual, mold.filler.hardener_unusual
//	                              caution  the dose at the shop's temperature is outside of what is usual
//	duty.beyond_standard          error    a waterline beyond the deck pressure's scope
//	duty.no_load                  error    a custom duty without pressure and force
//	duty.refused                  error    no load follows from the duty; why
//	receiver.ledge_weak, receiver.flange_weak
//	                              caution  a cantilever strip under seal and step is used over 1
//	hardware.edge_unknown         error    a lid has four edges
//	hardware.does_not_fit         error    the edge is shorter than its fittings
//	hardware.crowded              error    fittings of two edges come too close
//	hardware.overloaded           caution  the closed seal loads a fitting over its working load
//	hardware.overloaded_open      caution  the open lid, a hand or a gust loads a hinge over its working load
//	hardware.lid_falls            caution  weight and a gust turn hinges that hold less
//	hardware.no_latch             note     hinges, a seal, and nothing that presses it
//	price.missing                 error    the price book lacks a price, by its key
//	stock.past_age                caution  a lot on hand is past its age; not counted
//	stock.ages_before_use         caution  a lot is good today and not when it is used; not counted
//	stock.unit_differs            caution  a lot is counted in another unit than the price book; not counted
//	lead_time.never_ends          error    the shop's hours, rates and waits give the work no end
//	lead_time.too_much_work       error    more operations than one order may have
//	lead_time.needed_by           caution  the work ends after the day that is asked for
//	lead_time.over_a_run          caution  work that must not be broken off is longer than any run of shifts
//
// # Refused
//
// A duty lighter than asked for is never offered as a mend. Nothing is
// extrapolated beyond a product's table; a price that is not there is never 0.
package derivation
