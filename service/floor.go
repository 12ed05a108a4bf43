package service

import (
	"sync"
	"sync/atomic"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/backlog"
)

// floor is what the service keeps in memory of the shop's open work. The zero floor
// is ready.
type floor struct {
	backlog     atomic.Pointer[backlog.Backlog]
	invalidated bell // rung when something changed that writes no event
	changes     atomic.Int64

	mu    sync.Mutex // one refresh at a time
	plans map[uuid.UUID]backlog.Plan
	// observed are the operations of orders in work that were kept as observations.
	observed map[uuid.UUID]map[string]bool

	keeping  sync.Mutex                         // one round of KeepPromises at a time
	expected map[uuid.UUID]*backlog.Expectation // of open orders; under keeping

	emptyMu sync.Mutex
	empty   *backlog.Backlog // a shop with nothing to do, for the engine it was made of
}

// backlogAge is how old a backlog may become while nothing changes: its work would
// otherwise stand still while the clock goes on.
const backlogAge = 15 * time.Minute
