package schedule_test

import (
	"errors"
	"fmt"
	"testing"

	"hatchwright/service/schedule"
)

// Placing asks whether to go on at least every 64 operations of a column of 16
// scenarios, and places nothing more once it is told no: counted, not timed.
func TestPlaceStopsWhenTold(t *testing.T) {
	p := profiles(t, schedule.Setup{Centers: []schedule.Center{always(t, "bench", 2)}, Origin: origin, Model: schedule.Model{Default: schedule.Spread{Factor: 1}}, Scenarios: 64})
	job := schedule.Job{Key: "new"}
	for i := range 640 {
		job.Operations = append(job.Operations, op(fmt.Sprint("op ", i), "bench", hour, 0))
	}
	const whole = 640 / 64 * 64 / 16 // times it is asked in all
	for _, stop := range []int{1, 2, 17, whole} {
		t.Run(fmt.Sprint("after ", stop), func(t *testing.T) {
			asked := 0
			_, err := p.PlaceWhile(job, origin, [32]byte{}, func() bool { asked++; return asked < stop })
			if !errors.Is(err, schedule.ErrStopped) {
				t.Errorf("got error %v, want %v", err, schedule.ErrStopped)
			}
			if asked != stop {
				t.Errorf("asked %d times, want %d", asked, stop)
			}
		})
	}
	t.Run("never", func(t *testing.T) {
		asked := 0
		got, err := p.PlaceWhile(job, origin, [32]byte{}, func() bool { asked++; return true })
		if err != nil {
			t.Fatal(err)
		}
		if asked != whole {
			t.Errorf("asked %d times, want %d", asked, whole)
		}
		want, err := p.Place(job, origin, [32]byte{})
		if err != nil {
			t.Fatal(err)
		}
		if got.Percentiles != want.Percentiles {
			t.Errorf("got %v, want %v as without asking", got.Percentiles, want.Percentiles)
		}
	})
	t.Run("what would shorten it", func(t *testing.T) {
		asked := 0
		_, err := p.Relieve(job, origin, [32]byte{}, 3, func() bool { asked++; return asked <= whole })
		if !errors.Is(err, schedule.ErrStopped) {
			t.Errorf("got error %v, want %v", err, schedule.ErrStopped)
		}
	})
}
