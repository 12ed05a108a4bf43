package service_test

import (
	"fmt"
	"reflect"
	"testing"

	"hatchwright/service/backlog"
	"hatchwright/service/shop"
)

// What a hatch takes, and what falls away with a mold that is there, hangs on no name:
// with every label and pointer of bill, panels and operations reworded it is the same.
func TestNeedsOfRewordedLabels(t *testing.T) {
	r := newWorks(t).derive(hatchOf(523))
	for _, registered := range []map[string]string{nil, {"receiver": "7"}, {"lid": "8"}, {"receiver": "7", "lid": "8"}} {
		t.Run(fmt.Sprint(registered), func(t *testing.T) {
			want, err := backlog.NeedsOf(r, shop.Example(), registered)
			if err != nil {
				t.Fatal(err)
			}
			parts := map[string]int{}
			for _, n := range want {
				parts[n.Part]++
			}
			if len(parts) != 3 {
				t.Errorf("the needs are for %v, want both parts and the whole hatch", parts)
			}
			reworded := *r
			reworded.Bill.Lines = append(reworded.Bill.Lines[:0:0], r.Bill.Lines...)
			for i := range reworded.Bill.Lines {
				l := &reworded.Bill.Lines[i]
				l.Name, l.From = "another name", "/another/pointer"
			}
			reworded.Panels = append(reworded.Panels[:0:0], r.Panels...)
			for i := range reworded.Panels {
				reworded.Panels[i].Name = fmt.Sprint("piece ", i)
			}
			got, err := backlog.NeedsOf(&reworded, shop.Example(), registered)
			if err != nil {
				t.Fatal(err)
			}
			if !reflect.DeepEqual(got, want) {
				t.Errorf("reworded, the hatch takes\n%v\nwant\n%v", got, want)
			}
		})
	}
}
