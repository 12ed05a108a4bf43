package table

import (
	"fmt"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/service/record"
	"hatchwright/store"
)

var numbered = &Dialect{
	Mark:   func(n int) string { return fmt.Sprintf("$%d", n) },
	Time:   func(t time.Time) any { return t.UnixMilli() },
	Casts:  true,
	Owners: true,
}

// TestWhere: terms are numbered on from the arguments before them, and a field of a
// filter that is not set does not narrow.
func TestWhere(t *testing.T) {
	dealer := uuid.MustParse("01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55")
	at := time.UnixMilli(86_400_000).UTC()
	for _, c := range []struct {
		name  string
		where *Where
		says  string
		args  []any
	}{
		{"nothing", numbered.Where(), "", nil},
		{"behind an argument", numbered.Where(at).Add("a between ? and ?", 1, 2), " where a between $2 and $3", []any{int64(86_400_000), 1, 2}},
		{"a dealer", numbered.Where().Owned(store.DealerScope(dealer), "dealer_id").Add("x"), " where dealer_id = $1 and x", []any{dealer}},
		{"the house", numbered.Where().Owned(store.HouseScope(), "dealer_id"), " where dealer_id is null", nil},
		{"the shop", numbered.Where().Owned(store.ShopScope(), "dealer_id"), "", nil},
		{"no scope", numbered.Where().Owned(store.Scope{}, "dealer_id"), " where false", nil},
		{"a dealer's molds", numbered.Where().Usable(store.DealerScope(dealer)), " where (dealer_id = $1 or dealer_id is null)", []any{dealer}},
		{"no filter", NarrowOrders(numbered.Where(), store.OrderFilter{}), "", nil},
		{"a filter", NarrowOrders(numbered.Where(), store.OrderFilter{State: record.OrderReady, PromisedTo: "2027-03-05"}), " where state = $1 and promise <= $2", []any{record.OrderReady, "2027-03-05"}},
		{"expired quotes", NarrowQuotes(numbered.Where(), store.QuoteFilter{State: record.QuoteExpired, At: at}), " where state = 'open' and valid_until <= $1", []any{int64(86_400_000)}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := c.where.String(); got != c.says {
				t.Errorf("the clause is %q, want %q", got, c.says)
			}
			if !reflect.DeepEqual(c.where.Args, append([]any{}, c.args...)) {
				t.Errorf("its arguments are %v, want %v", c.where.Args, c.args)
			}
		})
	}
}

// TestInsert: an expression takes a column's place, expressions that are only read are
// left out, and what is referred to is asked for under the record's own dealer.
func TestInsert(t *testing.T) {
	m := record.Webhook{Kinds: []string{"order.placed", "order.shipped"}}
	statement, condition, args, err := Webhooks.Insert(numbered, &m, Column{Name: "since", Place: Expression("(select 7)")})
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(statement, "insert into webhooks (id, dealer_id, version, url, kinds, secrets, paused_until,") || !strings.HasSuffix(statement, "$12::timestamptz, (select 7)") {
		t.Errorf("the statement is %s", statement)
	}
	if want := "($2::uuid is null or exists (select 1 from dealers where id = $2::uuid))"; condition != want {
		t.Errorf("the condition is %s, want %s", condition, want)
	}
	if len(args) != 12 || args[4] != "order.placed order.shipped" || args[5] != "null" || args[6] != nil {
		t.Errorf("the arguments are %v", args)
	}
	_, condition, _, err = Orders.Insert(numbered, &record.Order{})
	if err != nil {
		t.Fatal(err)
	}
	if want := "exists (select 1 from quotes where id = $3::uuid and dealer_id is not distinct from $2::uuid)"; !strings.Contains(condition, want) {
		t.Errorf("the condition is %s, which lacks %s", condition, want)
	}
	if statement, _, _, err = Keys.Insert(numbered, &record.Key{}); err != nil || strings.Contains(statement, "rotated_to") {
		t.Errorf("a key is added by %s (%v)", statement, err)
	}
}

// TestSet: an update names columns of its table alone.
func TestSet(t *testing.T) {
	set, args, err := Quotes.Set(numbered, &record.Quote{Version: 3, State: record.QuoteOrdered})
	if want := "state = $1, order_id = $2, version = $3, updated_at = $4"; err != nil || set != want {
		t.Errorf("the update sets %s (%v), want %s", set, err, want)
	}
	if len(args) != 4 || args[2] != 3 {
		t.Errorf("its arguments are %v", args)
	}
	for name, missing := range map[string]string{
		"quotes": absent(Quotes), "orders": absent(Orders), "webhooks": absent(Webhooks), "molds": absent(Molds),
	} {
		if missing != "" {
			t.Errorf("an update of %s sets the column %q, which is not there", name, missing)
		}
	}
}

func absent[T any](t *Table[T]) string {
	var record T
	columns := t.columns(&record)
	for _, name := range strings.Fields(t.Changes) {
		found := false
		for _, c := range columns {
			found = found || c.Name == name
		}
		if !found {
			return name
		}
	}
	return ""
}

// TestCrossings: what a column holds comes back as it was, and is refused where it is
// of another kind.
func TestCrossings(t *testing.T) {
	var at time.Time
	if err := (moment{&at}).Scan(int64(1_000)); err != nil || !at.Equal(time.Unix(1, 0)) || at.Location() != time.UTC {
		t.Errorf("a thousand milliseconds are %v (%v)", at, err)
	}
	if err := (moment{&at}).Scan(time.Unix(2, 0).In(time.FixedZone("east", 3600))); err != nil || at.Location() != time.UTC {
		t.Errorf("an instant is read as %v (%v), want it in UTC", at, err)
	}
	if err := (moment{&at}).Scan("noon"); err == nil {
		t.Error("a word is read as an instant")
	}
	none := &at
	if err := (momentOrNull{&none}).Scan(nil); err != nil || none != nil {
		t.Errorf("null is read as %v (%v)", none, err)
	}
	count := 5
	if v, err := (countOrNull{new(int)}).value(); v != nil || err != nil {
		t.Errorf("no quota is kept as %v (%v)", v, err)
	}
	if err := (countOrNull{&count}).Scan(nil); err != nil || count != 0 {
		t.Errorf("null is read as %d (%v)", count, err)
	}
}
