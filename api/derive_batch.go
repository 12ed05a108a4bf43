package api

import (
	"context"
	"fmt"
	"net/http"

	"hatchwright/service"
	"hatchwright/service/fault"
	"hatchwright/service/quantity"
)

// deriveBatch works many configurations out. Each is written as soon as it is
// worked out, so that only bytes wait for the last one.
func (a *api) deriveBatch(c *call) error {
	stock, err := a.stock(c)
	if err != nil {
		return err
	}
	ctx, id := c.Request().Context(), requestID(c) // the workers below leave the call alone
	rows := c.object()[c.operation.apart].([]any)
	results := make([][]byte, len(rows))
	var items []service.BatchItem
	var places []int
	for i, row := range rows {
		at, fields := fmt.Sprintf("/%s/%d", c.operation.apart, i), c.faults[i]
		var item service.BatchItem
		if len(fields) == 0 {
			item.Pointer = at
			item.Request, fields = crossConfiguration(row.(map[string]any), at)
		}
		if len(fields) > 0 {
			results[i] = a.batchProblem(ctx, id, i, invalid(fields))
			continue
		}
		items, places = append(items, item), append(places, i)
	}
	err = a.service.DeriveBatch(ctx, c.caller, items, c.leadTimeOptions(), func(k int, r *service.Derived, err error) {
		i := places[k]
		if err == nil && stock != nil {
			err = stock.Take(r.Result, &r.Due.Bill)
		}
		if err == nil {
			a.ruled(r.Verdict)
			w := newWriter(r.Configuration.Units)
			defer w.free()
			w.object("")
			w.derivation("derivation", r, stock)
			w.end()
			if results[i], err = w.copy(); err == nil {
				return
			}
		}
		a.refused(err)
		results[i] = a.batchProblem(ctx, id, i, err)
	})
	if err != nil {
		return err
	}
	w := newWriter(quantity.Metric)
	defer w.free()
	w.object("")
	w.list("results")
	for _, r := range results {
		w.raw("", r)
	}
	w.endList()
	w.end()
	return c.send(http.StatusOK, w)
}

// batchProblem writes the problem that stands in a result's place.
func (a *api) batchProblem(ctx context.Context, id string, i int, err error) []byte {
	s := judge(err)
	if s.status >= http.StatusInternalServerError {
		a.log.ErrorContext(ctx, "configuration of a batch failed", "request_id", id, "index", i, "problem", s.name, "error", err)
	}
	w := newWriter(s.system())
	defer w.free()
	w.object("")
	w.problem("problem", s, id)
	w.end()
	body, err := w.copy()
	if err != nil && s.ruling != nil {
		return a.batchProblem(ctx, id, i, fault.Wrap(fault.Internal, err, "Something went wrong that is not your doing."))
	}
	return body
}
