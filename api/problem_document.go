package api

import "hatchwright/service/quantity"

// Problem writes the problem that an error comes to as a document by itself, for
// a program that has no request to answer. Its request id is empty.
func Problem(err error) ([]byte, error) {
	s := judge(err)
	system := quantity.Metric
	if s.ruling != nil {
		system = s.ruling.Configuration.Units
	}
	w := newWriter(system)
	defer w.free()
	w.problem(s, "")
	return w.copy()
}
