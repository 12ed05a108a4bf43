package drawing

import "hatchwright/service/outline"

// shape is a curve in model space on a layer.
type shape struct {
	layer    string
	closed   bool
	segments []outline.Segment
}

func outlineShape(layer string, o outline.Outline) shape {
	return shape{layer, true, o.Segments()}
}
