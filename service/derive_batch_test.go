package service

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"hatchwright/service/fault"
	"hatchwright/store"
)

// TestPanicSpoilsItsItemAlone works an item out without an engine.
func TestPanicSpoilsItsItemAlone(t *testing.T) {
	calls := 0
	s := &Service{clock: time.Now}
	s.deriveItem(context.Background(), nil, store.ShopScope(), BatchItem{}, LeadTimeOptions{}, func(r *Derived, err error) {
		calls++
		var f *fault.Error
		if r != nil || !errors.As(err, &f) || f.Kind != fault.Internal || !strings.Contains(f.Cause.Error(), "panic") || strings.Contains(f.Detail, "panic") {
			t.Errorf("%v, %v", r, err)
		}
	})
	if calls != 1 {
		t.Errorf("%d calls", calls)
	}
}
