package api

import (
	"net/http"

	"hatchwright/service/quantity"
)

// getMixes says what to weigh out for a kept configuration at a temperature.
func (a *api) getMixes(c *call) error {
	id, err := c.id()
	if err != nil {
		return err
	}
	var temperature *float64
	if t, given := parameter[float64](c, "temperature"); given {
		temperature = &t
	}
	m, err := a.service.FindMixes(c.Request().Context(), c.caller, id, temperature)
	if err != nil {
		return err
	}
	w := newWriter(quantity.Metric)
	defer w.free()
	w.object("")
	w.text("configuration_id", id.String())
	w.text("digest", m.Digest)
	w.number("temperature", m.Temperature, massPlaces)
	w.mixes(m.Mixes)
	w.list("findings")
	w.system = m.Units
	for i := range m.Findings {
		w.finding(&m.Findings[i])
	}
	w.endList()
	w.end()
	return c.send(http.StatusOK, w)
}
