// Package model3d makes solids of a hatch's parts and molds: thick sections swept
// round outlines, meshed to a stated chord error, written as binary STL and GLB.
//
// Sections are in (n, z) about an outline, mm, z down from the deck plane (see
// package profile). Meshes are in mm, x forward, y to port, z up: a part lies as
// it lies in the boat, a mold stands as it stands on the bench. GLB is in meters
// with y up, as its standard asks.
package model3d
