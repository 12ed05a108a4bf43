package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net"
	"net/http"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/google/uuid"

	"hatchwright/store/postgres/postgrestest"
)

var (
	kills      = flag.Int("kills", 3, "times that the program is killed in the test with clients at work")
	killEngine = flag.String("engine", "", "the store of the test with kills: sqlite or postgres; both when not set")
	killSeed   = flag.Uint64("kills-seed", 1, "seed of the test with kills")
)

const (
	// claimLapse is what the contract gives an Idempotency-Key that was in flight
	// when its process died: then the same request can be sent again.
	claimLapse = 30 * time.Second
	// lapseSlack is what asking and answering may take beside that.
	lapseSlack = time.Second
	// longest is how long a client tries before it says that the service is gone.
	longest = 2 * time.Minute
	// manyKills are those of a long run, which waits for every claim in the end.
	manyKills = 20
)

// outcome is what a client knows of what it sent.
type outcome string

const (
	acknowledged outcome = "acknowledged" // 2xx, read to its end
	refused      outcome = "refused"      // another answer: nothing was done
	unknown      outcome = "unknown"      // no answer, and no way to ask again
	claimed      outcome = "claimed"      // in flight: the key is still held
	unsent       outcome = "unsent"       // nobody took the connection
)

// act is something that a client does, until it has an answer or gives up.
type act struct {
	what, mark                    string
	order                         string // whose it is, for a change of one
	who                           string
	method, path, body, match, id string // id is the Idempotency-Key, "" for none

	done           bool // its client has left it
	outcome        outcome
	status         int
	answer         string
	etag, location string
	doubt          time.Time // since when it may have been done unheard
	lastDoubt      time.Time // the last time that an attempt went without an answer
	saidNothing    bool      // that nothing was written
}

// orderCard is what the clients know of an order.
type orderCard struct {
	id, who    string
	operations []string // in their order, not begun yet; for the floor
	read       bool     // that they were read
	closed     bool
}

// yard is everybody who works against the service, and what they know.
type yard struct {
	t       *testing.T
	program *replica
	client  *http.Client
	seed    uint64
	began   time.Time

	mu      sync.Mutex
	marks   int
	acts    []*act
	quotes  map[string][]string // open ones, by key of their owner
	orders  []*orderCard
	lots    []string
	molds   map[string]string // id and ETag
	kept    map[string]string // a configuration of each dealer's key
	count   map[string]int
	attempt atomic.Int64
	back    int           // keys that were in flight at a kill and came back
	held    time.Duration // after a kill, the latest that a key was found still held
}

// try sends an act once. done tells that it has its answer.
func (y *yard) try(ctx context.Context, a *act) (done bool) {
	q, err := http.NewRequestWithContext(ctx, a.method, y.program.at()+a.path, strings.NewReader(a.body))
	if err != nil {
		y.t.Error(err)
		return true
	}
	q.Header.Set("Authorization", "Bearer "+a.who)
	if a.body != "" {
		q.Header.Set("Content-Type", "application/json")
	}
	if a.match != "" {
		q.Header.Set("If-Match", a.match)
	}
	if a.id != "" {
		q.Header.Set("Idempotency-Key", a.id)
	}
	y.attempt.Add(1)
	inDoubt := func() {
		a.outcome, a.lastDoubt = unknown, time.Now()
		if a.doubt.IsZero() {
			a.doubt = a.lastDoubt
		}
	}
	answer, err := y.client.Do(q)
	if dial := (*net.OpError)(nil); errors.As(err, &dial) && dial.Op == "dial" {
		if a.outcome = unknown; a.doubt.IsZero() {
			a.outcome = unsent
		}
		return false
	}
	if err != nil {
		inDoubt()
		return false
	}
	defer answer.Body.Close()
	body, err := io.ReadAll(answer.Body)
	if err != nil {
		inDoubt()
		return false
	}
	a.status, a.answer, a.etag, a.location = answer.StatusCode, string(body), answer.Header.Get("ETag"), answer.Header.Get("Location")
	var p struct{ Type string }
	if a.status >= 400 {
		if err := json.Unmarshal(body, &p); err != nil {
			y.t.Errorf("%s %s: %d %s", a.method, a.path, a.status, body)
		}
	}
	switch {
	case a.status/100 == 2:
		a.outcome = acknowledged
	case a.status == http.StatusServiceUnavailable:
		inDoubt()
		a.saidNothing = strings.Contains(a.answer, "Nothing was written")
		return false
	case p.Type == "/problems/request-in-progress":
		a.outcome = claimed
		return false
	case a.status >= 500 || a.status == http.StatusUnauthorized || a.status == http.StatusBadRequest || p.Type == "/problems/forbidden":
		y.t.Errorf("%s: %s %s %s: %d %s", a.what, a.method, a.path, a.body, a.status, a.answer)
		a.outcome = unknown
	default:
		a.outcome = refused
	}
	return true
}

// do sends an act as its client does: one without a key, and not the same by itself if
// sent twice, once; any other until it has its answer, or its key is found held, which
// is left to come back to.
func (y *yard) do(ctx context.Context, a *act) {
	y.mu.Lock()
	y.acts = append(y.acts, a)
	y.mu.Unlock()
	again := a.id != "" || a.method == http.MethodPut
	held := 0
	for start := time.Now(); !y.try(ctx, a); {
		if !again || ctx.Err() != nil {
			time.Sleep(100 * time.Millisecond) // the service is away
			break
		}
		if a.outcome == claimed {
			if held++; held > 5 {
				break
			}
		}
		if time.Since(start) > longest {
			y.t.Errorf("%s: no answer for %v to %s %s", a.what, longest, a.method, a.path)
			break
		}
		time.Sleep(50 * time.Millisecond)
	}
	y.mu.Lock()
	defer y.mu.Unlock()
	a.done = true
	y.count[a.what+" "+string(a.outcome)]++
}

// comeBack tries what is still in flight once more, and holds it to the time that a
// key may be held for.
func (y *yard) comeBack(ctx context.Context) (left int) {
	y.mu.Lock()
	var waiting []*act
	for _, a := range y.acts {
		if a.done && a.id != "" && (a.outcome == claimed || a.outcome == unknown || a.outcome == unsent) {
			waiting = append(waiting, a)
		}
	}
	y.mu.Unlock()
	for _, a := range waiting {
		asked := time.Now()
		done := y.try(ctx, a)
		waited := asked.Sub(a.lastDoubt) // the answer may take its time
		if !done {
			left++
			if a.outcome == claimed {
				if waited > claimLapse+lapseSlack {
					y.t.Errorf("%s: the key is still held %v after its process was killed", a.what, waited)
				}
				y.mu.Lock()
				y.held = max(y.held, waited)
				y.mu.Unlock()
			}
			continue
		}
		y.mu.Lock()
		y.back++
		y.learn(a)
		y.mu.Unlock()
	}
	return left
}

// new is an act with a mark that no other has.
func (y *yard) new(random *rand.Rand, what, who, method, path string) *act {
	y.mu.Lock()
	defer y.mu.Unlock()
	y.marks++
	a := &act{what: what, mark: fmt.Sprintf("%s-%d", what, y.marks), who: who, method: method, path: path}
	if method == http.MethodPost && random.IntN(3) > 0 {
		a.id = fmt.Sprintf("%s-%d-%d", what, y.marks, random.Uint32())
	}
	return a
}

// learn takes what an acknowledged act says into the cards. The yard is locked.
func (y *yard) learn(a *act) {
	if a.outcome != acknowledged {
		return
	}
	var got struct {
		ID   string
		Lots []struct{ ID string }
	}
	if err := json.Unmarshal([]byte(a.answer), &got); err != nil {
		y.t.Errorf("%s: %v in %s", a.what, err, a.answer)
		return
	}
	switch a.what {
	case "quote":
		y.quotes[a.who] = append(y.quotes[a.who], got.ID)
	case "order":
		y.orders = append(y.orders, &orderCard{id: got.ID, who: a.who})
	case "receive":
		for _, l := range got.Lots {
			y.lots = append(y.lots, l.ID)
		}
	case "mold", "mold change":
		y.molds[got.ID] = a.etag
	case "cancel", "ship":
		for _, o := range y.orders {
			o.closed = o.closed || o.id == a.order
		}
	}
}

// pick takes an open order that the key may change, nil for none.
func (y *yard) pick(random *rand.Rand, who string) *orderCard {
	y.mu.Lock()
	defer y.mu.Unlock()
	var list []*orderCard
	for _, o := range y.orders {
		if !o.closed && (who == demoShop || o.who == who) {
			list = append(list, o)
		}
	}
	if len(list) == 0 {
		return nil
	}
	return list[random.IntN(len(list))]
}

// dealer quotes, orders, holds, releases and cancels.
func (y *yard) dealer(random *rand.Rand, who string) *act {
	y.mu.Lock()
	quotes, open, kept := len(y.quotes[who]), 0, y.kept[who]
	for _, o := range y.orders {
		if !o.closed && o.who == who {
			open++
		}
	}
	y.mu.Unlock()
	const enough = 6 // open orders of a dealer; more only slow the plan
	switch n := random.IntN(100); {
	case n < 5:
		a := y.new(random, "configuration", who, http.MethodPost, "/v1/configurations")
		a.body = fmt.Sprintf(`{"name":%q,"configuration":%s}`, a.mark, killHatch)
		return a
	case n < 30 || quotes == 0:
		a := y.new(random, "quote", who, http.MethodPost, "/v1/quotes")
		a.body = fmt.Sprintf(`{"reference":%q,"lines":[{"configuration_id":%q}]}`, a.mark, kept)
		return a
	case n < 55 && open < enough:
		a := y.new(random, "order", who, http.MethodPost, "/v1/orders")
		y.mu.Lock()
		quote := y.quotes[who][0]
		if random.IntN(10) > 0 { // else the same quote once more, which is refused once it was ordered
			y.quotes[who] = y.quotes[who][1:]
		}
		y.mu.Unlock()
		a.body = fmt.Sprintf(`{"quote_id":%q,"purchase_reference":%q}`, quote, a.mark)
		return a
	}
	o := y.pick(random, who)
	if o == nil {
		return nil
	}
	what := []string{"hold", "release", "cancel"}[random.IntN(3)]
	if what == "cancel" && open < enough/2 {
		what = "hold"
	}
	a := y.new(random, what, who, http.MethodPost, "/v1/orders/"+o.id+"/"+map[string]string{"hold": "hold", "release": "release", "cancel": "cancellation"}[what])
	a.order, a.match = o.id, "*"
	if what != "release" {
		a.body = fmt.Sprintf(`{"reason":%q}`, a.mark)
	}
	return a
}

// operations reads what is to be done for an order, once.
func (y *yard) operations(ctx context.Context, o *orderCard) bool {
	y.mu.Lock()
	read := o.read
	y.mu.Unlock()
	if read {
		return true
	}
	q := &act{what: "read", who: demoShop, method: http.MethodGet, path: "/v1/orders/" + o.id}
	var got struct{ Operations []struct{ Key, State string } }
	if !y.try(ctx, q) || q.outcome != acknowledged || json.Unmarshal([]byte(q.answer), &got) != nil {
		return false
	}
	y.mu.Lock()
	defer y.mu.Unlock()
	if !o.read {
		o.read = true
		for _, p := range got.Operations {
			if p.State != "finished" {
				o.operations = append(o.operations, p.Key)
			}
		}
	}
	return true
}

// floor reports operations, one order after the other, and ships what is ready.
func (y *yard) floor(ctx context.Context, random *rand.Rand, at **orderCard) *act {
	if *at == nil || (*at).closed {
		*at = y.pick(random, demoShop)
	}
	o := *at
	if o == nil || !y.operations(ctx, o) {
		return nil
	}
	y.mu.Lock()
	left := slices.Clone(o.operations)
	y.mu.Unlock()
	if len(left) == 0 {
		a := y.new(random, "ship", demoShop, http.MethodPost, "/v1/orders/"+o.id+"/shipment")
		*at = nil
		a.order, a.match, a.body = o.id, "*", fmt.Sprintf(`{"tracking":%q}`, a.mark)
		return a
	}
	key := left[0]
	a := y.new(random, "operation", demoShop, http.MethodPut, "/v1/orders/"+o.id+"/operations/"+key+"/record")
	y.mu.Lock()
	defer y.mu.Unlock()
	begun := y.began.Add(-24 * time.Hour).UTC().Add(time.Duration(y.marks) * time.Millisecond).Truncate(time.Millisecond)
	a.order, a.mark = o.id, key
	a.body = fmt.Sprintf(`{"started_at":%q,"finished_at":%q,"hours":0.5}`, begun.Format(time.RFC3339Nano), begun.Add(time.Hour).Format(time.RFC3339Nano))
	return a
}

// store takes stock in, throws it away, counts it and sets it aside.
func (y *yard) stock(random *rand.Rand) *act {
	y.mu.Lock()
	lots := slices.Clone(y.lots)
	y.mu.Unlock()
	kinds := []string{"receive", "receive", "scrap", "count", "reserve", "release stock", "issue", "return"}
	what := kinds[random.IntN(len(kinds))]
	if len(lots) == 0 {
		what = "receive"
	}
	a := y.new(random, what, demoShop, http.MethodPost, "/v1/stock/moves")
	amount := fmt.Sprintf("%.3f", 0.001+float64(random.IntN(3000))/1000)
	if what == "receive" {
		a.body = fmt.Sprintf(`{"kind":"receive","amount":%d,"note":%q,"lot":{"material":"general-purpose polyester"}}`, 5+random.IntN(20), a.mark)
		return a
	}
	order := ""
	if o := y.pick(random, demoShop); o != nil && (what == "reserve" || what == "release stock" || what == "issue" && random.IntN(2) == 0) {
		order = fmt.Sprintf(`,"order_id":%q`, o.id)
	}
	if what == "count" && random.IntN(2) == 0 {
		amount = "-" + amount
	}
	if (what == "reserve" || what == "release stock") && order == "" {
		what, a.what = "scrap", "scrap"
	}
	a.body = fmt.Sprintf(`{"kind":%q,"amount":%s,"note":%q,"lot_id":%q%s}`, strings.TrimSuffix(what, " stock"), amount, a.mark, lots[random.IntN(len(lots))], order)
	return a
}

// molds are registered and moved about.
func (y *yard) mold(random *rand.Rand) *act {
	y.mu.Lock()
	ids := slices.Sorted(maps.Keys(y.molds))
	kept := y.kept[[]string{demoDealer, demoOther}[random.IntN(2)]]
	y.mu.Unlock()
	if len(ids) < 4 || len(ids) < 40 && random.IntN(4) == 0 {
		a := y.new(random, "mold", demoShop, http.MethodPost, "/v1/molds")
		a.body = fmt.Sprintf(`{"configuration_id":%q,"part":%q,"tag":%q,"remaining_pulls":%d}`, kept, []string{"lid", "receiver"}[random.IntN(2)], a.mark, 1+random.IntN(6))
		return a
	}
	id := ids[random.IntN(len(ids))]
	a := y.new(random, "mold change", demoShop, http.MethodPatch, "/v1/molds/"+id)
	y.mu.Lock()
	a.match = y.molds[id]
	y.mu.Unlock()
	a.body = fmt.Sprintf(`{"location":%q}`, a.mark)
	if random.IntN(3) == 0 {
		a.match, a.body = "*", fmt.Sprintf(`{"location":%q,"remaining_pulls":%d}`, a.mark, 2+random.IntN(6))
	}
	return a
}

const killHatch = `{"units":"mm","pattern":"flush-ledge","outline":{"shape":"rectangle","length":520,"width":380,"corner_radius":60},"quantity":1}`

// must does what the clients need to begin.
func (y *yard) must(who, path, body string) string {
	y.t.Helper()
	a := &act{what: "begin", who: who, method: http.MethodPost, path: path, body: body}
	if !y.try(y.t.Context(), a) || a.outcome != acknowledged {
		y.t.Fatalf("%s: %d %s", path, a.status, a.answer)
	}
	var got struct{ ID string }
	if err := json.Unmarshal([]byte(a.answer), &got); err != nil {
		y.t.Fatal(err)
	}
	return got.ID
}

// repeat sends acknowledged requests with a key again: the answer is the same, byte for
// byte.
func (y *yard) repeat(ctx context.Context, random *rand.Rand, most int) (n int) {
	var keyed []*act
	for _, a := range y.acts {
		if a.id != "" && a.outcome == acknowledged {
			keyed = append(keyed, a)
		}
	}
	random.Shuffle(len(keyed), func(i, j int) { keyed[i], keyed[j] = keyed[j], keyed[i] })
	for _, a := range keyed[:min(most, len(keyed))] {
		again := *a
		for start := time.Now(); !y.try(ctx, &again) && time.Since(start) < claimLapse; {
			time.Sleep(50 * time.Millisecond)
		}
		if again.status != a.status || again.answer != a.answer || again.etag != a.etag || again.location != a.location {
			y.t.Errorf("%s sent again: %d %q %q %s\nwant %d %q %q %s", a.what, again.status, again.etag, again.location, again.answer, a.status, a.etag, a.location, a.answer)
		}
		n++
	}
	return n
}

// The program, as it is built for customers, is killed again and again while clients
// quote, order, hold, release, cancel, report operations, move stock and register
// molds; each sends a request with an Idempotency-Key again until it has the answer, and
// one without only once. On PostgreSQL the server's backends, or all of it, die too.
// After every kill: what was acknowledged is there once, as it was acknowledged; what was
// not is there once or not at all; a repeat gives the same bytes; nobody's history has a
// gap; and the books of stock and molds balance. A key in flight at a kill can be
// used again before long. -kills 150 -timeout 0 is the long run.
func TestKills(t *testing.T) {
	for _, engine := range []string{"sqlite", "postgres"} {
		if *killEngine == "" || *killEngine == engine {
			t.Run(engine, func(t *testing.T) { killing(t, engine) })
		}
	}
}

func killing(t *testing.T, engine string) {
	ctx := t.Context()
	c := config(t)
	c.DataFile = filepath.Join(t.TempDir(), "kills.db")
	environment := []string{"HATCHWRIGHT_DATA=" + c.DataFile}
	var relayed *relay
	if engine == "postgres" {
		relayed = newRelay(t)
		c.DatabaseURL = relayed.url(postgrestest.Migrated(t))
		environment = []string{"DATABASE_URL=" + c.DatabaseURL}
	}
	r := &replica{t: t, quiet: true, program: built(t), environment: append(environment, "HATCHWRIGHT_DEMO=true", "HATCHWRIGHT_ADDRESS_RATE=0")}
	r.start()
	if t.Failed() {
		return
	}
	defer func() { r.kill() }()
	y := &yard{t: t, program: r, seed: *killSeed, began: time.Now(), client: &http.Client{Timeout: 40 * time.Second, Transport: &http.Transport{DisableKeepAlives: true}},
		quotes: map[string][]string{}, molds: map[string]string{}, kept: map[string]string{}, count: map[string]int{}}
	for _, who := range []string{demoDealer, demoOther} {
		y.kept[who] = y.must(who, "/v1/configurations", `{"name":"begin","configuration":`+killHatch+`}`)
	}
	y.must(demoShop, "/v1/stock/moves", `{"kind":"receive","amount":200,"note":"begin","lot":{"material":"general-purpose polyester"}}`)

	random := rand.New(rand.NewPCG(*killSeed, 41))
	books := newBooks(y, c)
	harms, repeats := map[string]int{}, 0
	for kill := range *kills {
		working, stop := context.WithCancel(ctx)
		var clients sync.WaitGroup
		for i := range 8 {
			own := rand.New(rand.NewPCG(*killSeed, uint64(1000*kill+i)))
			var at *orderCard
			clients.Go(func() {
				for working.Err() == nil && !t.Failed() {
					var a *act
					switch i {
					case 0, 1:
						a = y.dealer(own, demoDealer)
					case 2, 3:
						a = y.dealer(own, demoOther)
					case 4, 5:
						a = y.floor(ctx, own, &at)
					case 6:
						a = y.stock(own)
					case 7:
						a = y.mold(own)
					}
					if a == nil {
						time.Sleep(5 * time.Millisecond)
						continue
					}
					y.do(ctx, a) // what was begun is ended, also after the kill
					y.mu.Lock()
					if y.learn(a); a.what == "operation" && a.outcome != unknown && at != nil {
						at.operations = slices.DeleteFunc(at.operations, func(key string) bool { return key == a.mark })
					}
					if a.what == "operation" && a.outcome == refused {
						at = nil
					}
					y.mu.Unlock()
				}
			})
		}
		clients.Go(func() { // somebody asks after what is in flight
			for working.Err() == nil && !t.Failed() {
				y.comeBack(ctx)
				time.Sleep(500 * time.Millisecond)
			}
		})
		time.Sleep(time.Duration(50+random.IntN(900)) * time.Millisecond)
		// The harm: to the program, to what it stores in, or to both.
		harm := "program"
		if relayed != nil {
			harm = []string{"program", "program", "connections", "backends", "crash", "server", "program and crash", "program and server"}[random.IntN(8)]
		}
		harms[harm]++
		var both sync.WaitGroup
		if relayed != nil {
			both.Go(func() { relayed.harm(ctx, harm, c.DatabaseURL) })
		}
		if strings.HasPrefix(harm, "program") {
			r.kill()
		}
		both.Wait()
		if strings.HasPrefix(harm, "program") {
			stop()
			r.start()
		} else {
			time.Sleep(time.Duration(random.IntN(300)) * time.Millisecond)
			stop()
		}
		clients.Wait()
		if t.Failed() {
			return
		}
		left := y.comeBack(ctx)
		if engine == "sqlite" && left > 0 {
			t.Errorf("kill %d: %d keys that were in flight are still held after a new start on the embedded store", kill, left)
		}
		books.check(ctx, false)
		repeats += y.repeat(ctx, random, 6)
		if t.Failed() {
			t.Logf("after kill %d of %d, %s", kill+1, *kills, harm)
			return
		}
	}
	// In the end all that is in flight comes to its end.
	left := y.comeBack(ctx)
	for start := time.Now(); left > 0 && *kills >= manyKills && time.Since(start) < claimLapse+10*lapseSlack && !t.Failed(); left = y.comeBack(ctx) {
		time.Sleep(250 * time.Millisecond)
	}
	if left > 0 && *kills >= manyKills {
		t.Errorf("%d keys that were in flight are still held", left)
	}
	books.check(ctx, true)
	repeats += y.repeat(ctx, random, max(30, *kills*4))
	t.Logf("%s, seed %d, %v: harms %v; %d attempts of %d requests: %v; %d answers repeated; %d keys were in flight at a kill and came back, the last that was found held %v after, %d are still held; %s",
		engine, *killSeed, time.Since(y.began).Round(time.Second), harms, y.attempt.Load(), len(y.acts), y.count, repeats, y.back, y.held.Round(time.Millisecond), left, books.said())
}

// trimmed is an answer without the members that change later.
func trimmed(t *testing.T, body string, mutable ...string) string {
	t.Helper()
	var all map[string]any
	d := json.NewDecoder(strings.NewReader(body))
	d.UseNumber()
	if err := d.Decode(&all); err != nil {
		t.Errorf("%v in %s", err, body)
		return ""
	}
	for _, m := range mutable {
		delete(all, m)
	}
	var out bytes.Buffer
	if err := json.NewEncoder(&out).Encode(all); err != nil {
		t.Error(err)
	}
	return out.String()
}

// versionOf is the version that an answer made.
func versionOf(a *act) (v int) {
	if _, err := fmt.Sscanf(a.etag, `"%d"`, &v); err != nil {
		return 0
	}
	return v
}

func parsed(s string) uuid.UUID {
	id, err := uuid.Parse(s)
	if err != nil {
		return uuid.Nil
	}
	return id
}
