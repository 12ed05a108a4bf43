package api

import "hatchwright/service"

var _ service.Wire = Wire{}

// Encode implements service.Wire.
func (Wire) Encode(r *service.Derived) (service.Documents, error) {
	var out service.Documents
	w := newWriter(r.Configuration.Units)
	defer w.free()
	w.configuration("", &r.Configuration)
	var err error
	if out.Completed, err = w.copy(); err != nil {
		return out, err
	}
	out.Derivation, err = Derivation(r)
	return out, err
}
