// Package routing builds the graph of operations that a hatch goes through, from
// the molds, laminates and fittings that it was derived to need. It grows with
// them: there is no fixed list.
//
// Labor is in hours at a work center, waiting in hours by the clock (filler,
// sealer, gelcoat, cure run through nights and weekends). Receiver and lid run
// side by side until the fit check; each part occupies its mold from the wax to
// the demolding.
//
// Source: common practice; the rates are the shop's own.
package routing
