package service

import "sync"

// idCounter tells the ids of one millisecond apart. The zero counter is ready.
type idCounter struct {
	mu      sync.Mutex
	ms      int64
	counter uint16 // 12 bits
}

// next gives the millisecond and the counter of an id, greater than all before.
func (c *idCounter) next(ms int64, random uint16) (int64, uint16) {
	const most = 1<<12 - 1
	c.mu.Lock()
	defer c.mu.Unlock()
	switch {
	case ms > c.ms:
		c.ms, c.counter = ms, random&(most>>1)
	case c.counter < most:
		c.counter++
	default:
		c.ms, c.counter = c.ms+1, random&(most>>1)
	}
	return c.ms, c.counter
}
