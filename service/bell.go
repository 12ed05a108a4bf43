package service

import "sync"

// bell wakes whoever waits for something new. The zero bell is ready.
type bell struct {
	mu sync.Mutex
	ch chan struct{}
}

// wait returns a channel that is closed at the next ring. Take it before looking
// at what there is, so that nothing that comes in between is missed.
func (b *bell) wait() <-chan struct{} {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.ch == nil {
		b.ch = make(chan struct{})
	}
	return b.ch
}

func (b *bell) ring() {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.ch != nil {
		close(b.ch)
		b.ch = nil
	}
}
