package receiver

import (
	"context"
	"sync"
)

// Window is a Memory of the last calls within the process. It is safe for
// concurrent use.
type Window struct {
	mu   sync.Mutex
	last []string // a ring
	next int
	ids  map[string]bool
}

// NewWindow makes a window of so many calls, at least one.
func NewWindow(calls int) *Window {
	return &Window{last: make([]string, max(calls, 1)), ids: map[string]bool{}}
}

// Seen implements Memory.
func (w *Window) Seen(_ context.Context, id string) (bool, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.ids[id], nil
}

// Done implements Memory: the oldest call is forgotten for it.
func (w *Window) Done(_ context.Context, id string) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.ids[id] {
		return nil
	}
	delete(w.ids, w.last[w.next])
	w.ids[id], w.last[w.next] = true, id
	w.next = (w.next + 1) % len(w.last)
	return nil
}
