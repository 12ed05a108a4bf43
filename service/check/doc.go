// Package check holds what tests say when a figure is not what it should be: what it
// is, what was got and what was wanted, one figure a line. Only tests use it.
//
// Every function reports and goes on, so that one run shows all that is wrong; its
// result says whether it held, for where nothing more can be looked at otherwise.
package check
