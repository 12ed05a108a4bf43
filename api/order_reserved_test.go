package api

import (
	"context"
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/openapi/client"
	"hatchwright/service/record"
)

// The shop reads what an order has set aside and what it has used of it; the dealer,
// and whoever places the order, reads nothing of it.
func TestOrderReserved(t *testing.T) {
	b := newBench(t)
	ctx := context.Background()
	_, key := b.dealer("Brackwater Marine", record.RoleDealer)
	lot := b.receive(100, "")
	m := b.mold(b.keepSmall(key), "lid", "")
	if _, err := b.service.RefreshBacklog(ctx); err != nil {
		t.Fatal(err)
	}
	o := b.order(key)
	if o.Reserved != nil {
		t.Errorf("the order as placed by a dealer tells %+v", o.Reserved)
	}
	at := "/v1/orders/" + o.Id.String()
	read := func(key string) *client.OrderReserved {
		t.Helper()
		got, err := b.client(key).GetOrderWithResponse(ctx, o.Id)
		if err != nil || got.JSON200 == nil {
			t.Fatalf("%v %s", err, got.Body)
		}
		return got.JSON200.Reserved
	}
	if r := read(key); r != nil {
		t.Errorf("the dealer reads %+v", r)
	}
	r := read(b.shop)
	if r == nil || len(r.Stock) != 1 || len(r.Molds) != 1 || r.Plan == nil {
		t.Fatalf("the shop reads %+v", r)
	}
	if s := r.Stock[0]; s.LotId != lot.Id || s.Material != resin || s.Unit == nil || *s.Unit != lot.Unit || s.Amount <= 0 || s.Used != 0 {
		t.Errorf("stock %+v", s)
	}
	// The quote took its three lids from the mold.
	if p := r.Molds[0]; p.MoldId != m.Id || p.Pulls != 3 || p.Taken != 0 {
		t.Errorf("molds %+v", p)
	}
	p := r.Plan
	if p.P50 == nil || p.P80 == nil || p.P95 == nil || !p.P50.Before(*p.P80) || !p.P80.Before(*p.P95) || !p.PlannedAt.Equal(monday) || p.FinishedAt != nil {
		t.Errorf("percentiles given %+v", p)
	}
	if p.Start != nil || p.End != nil {
		t.Errorf("it is in no plan yet: %+v", p)
	}
	if _, err := b.service.RefreshBacklog(ctx); err != nil {
		t.Fatal(err)
	}
	if p := read(b.shop).Plan; p.Start == nil || p.End == nil || p.Start.Before(monday) || !p.End.After(*p.Start) {
		t.Errorf("place in the plan %+v", p)
	}
	taken := r.Stock[0].Amount
	for _, op := range o.Operations {
		if a := b.send(http.MethodPut, at+"/operations/"+op.Key+"/record", b.shop, `{"started_at":"2026-11-30T12:00:00Z","finished_at":"2026-11-30T12:30:00Z"}`); a.status != 200 {
			t.Fatalf("%s: %d %s", op.Key, a.status, a.body)
		}
	}
	if _, err := b.service.RefreshBacklog(ctx); err != nil {
		t.Fatal(err)
	}
	r = read(b.shop)
	if s := r.Stock[0]; s.Amount != 0 || s.Used != taken {
		t.Errorf("stock of a finished order %+v, of %v", s, taken)
	}
	if r.Molds[0].Pulls != 0 || r.Plan.FinishedAt == nil || !r.Plan.FinishedAt.Equal(monday.Add(-30*time.Minute)) || r.Plan.Start != nil {
		t.Errorf("a finished order %+v, %+v", r.Molds[0], r.Plan)
	}
	// One of another dealer's is not there for others, whatever it has set aside.
	_, other := b.dealer("Fennimore Yachts", record.RoleDealer)
	for _, id := range []uuid.UUID{o.Id, uuid.MustParse(nobody)} {
		b.send(http.MethodGet, fmt.Sprint("/v1/orders/", id), other, "").wants(t, 404, "not-found")
	}
}
