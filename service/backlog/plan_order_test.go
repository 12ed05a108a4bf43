package backlog

import (
	"testing"

	"hatchwright/service/schedule"
)

// The search has its whole budget while that costs no more than planWork, and no
// more than that until it is down to the least.
func TestPlanSchedules(t *testing.T) {
	jobs := make([]schedule.Job, 10_000)
	for k := range jobs {
		jobs[k].Operations = make([]schedule.Operation, 25)
	}
	for _, c := range []struct{ orders, want int }{
		{0, 256}, {1, 256}, {312, 256}, {313, 255}, // 2,000,000 / 7,825 = 255.6
		{1000, 80}, {2500, 32}, {10_000, 32},
	} {
		if got := PlanSchedules(jobs[:c.orders]); got != c.want {
			t.Errorf("%d orders of 25 operations: %d schedules, want %d", c.orders, got, c.want)
		}
	}
}
