package service

import (
	"bytes"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
)

// clocked is a service that can make ids and nothing else.
func clocked(now func() time.Time) *Service {
	return &Service{clock: now, random: rand.NewChaCha8([32]byte{1})}
}

// Ids of one process rise, whatever the clock does: while it stands still, through
// more ids than a millisecond's counter holds, while it goes back, and on. They are
// of version 7 and variant 10 (RFC 9562, 4.1 and 5.7) and carry the time.
func TestIdsRise(t *testing.T) {
	now := time.Date(2026, 11, 30, 13, 0, 0, 0, time.UTC)
	s := clocked(func() time.Time { return now })
	var last uuid.UUID
	next := func() uuid.UUID {
		t.Helper()
		id, err := s.newID()
		if err != nil {
			t.Fatal(err)
		}
		if bytes.Compare(id[:], last[:]) <= 0 {
			t.Fatalf("%v after %v", id, last)
		}
		if id.Version() != 7 || id.Variant() != uuid.RFC4122 {
			t.Fatalf("%v is of version %d, variant %v", id, id.Version(), id.Variant())
		}
		last = id
		return id
	}
	millis := func(id uuid.UUID) (ms int64) {
		for _, b := range id[:6] {
			ms = ms<<8 | int64(b)
		}
		return ms
	}
	if got := millis(next()); got != now.UnixMilli() {
		t.Errorf("the id's time is %d, want %d", got, now.UnixMilli())
	}
	for range 10_000 { // the counter holds 4096
		next()
	}
	if ahead := millis(last) - now.UnixMilli(); ahead < 2 || ahead > 5 {
		t.Errorf("after 10,001 ids in a millisecond the ids are %d ms ahead", ahead)
	}
	now = now.Add(-time.Hour)
	next()
	now = now.Add(time.Hour + time.Second)
	if got := millis(next()); got != now.UnixMilli() {
		t.Errorf("the id's time is %d, want %d", got, now.UnixMilli())
	}
}

// Whoever makes ids at once gets different ones, each row of them rising.
func TestIdsAtOnce(t *testing.T) {
	now := time.Now()
	s := clocked(func() time.Time { return now })
	s.random = &lockedReader{r: s.random}
	var all [8][]string
	var group sync.WaitGroup
	for i := range all {
		group.Go(func() {
			for range 1000 {
				id, err := s.newID()
				if err != nil {
					t.Error(err)
					return
				}
				all[i] = append(all[i], id.String())
			}
		})
	}
	group.Wait()
	seen := map[string]bool{}
	for _, list := range all {
		if !slices.IsSorted(list) {
			t.Error("one maker's ids do not rise")
		}
		for _, id := range list {
			if seen[id] {
				t.Errorf("%s comes twice", id)
			}
			seen[id] = true
		}
	}
}

type lockedReader struct {
	mu sync.Mutex
	r  interface{ Read([]byte) (int, error) }
}

func (l *lockedReader) Read(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.r.Read(b)
}
