package api

// Problem writes the problem that an error comes to as a document by itself, for
// a program that has no request to answer. Its request id is empty.
func Problem(err error) ([]byte, error) {
	s := judge(err)
	w := newWriter(s.system())
	defer w.free()
	w.problem("", s, "")
	return w.copy()
}
