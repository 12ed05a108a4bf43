package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"

	"hatchwright/openapi/client"
	"hatchwright/openapi/receiver"
)

// A dealer's system takes a hatch from its first figures to an order, with the
// generated client, and verifies what it is called with. The program runs on a new
// embedded store with the demo scenario.
func Example_fromQuoteToOrder() {
	folder, err := os.MkdirTemp("", "hatchwright-example-")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	ctx, stop := context.WithCancel(context.Background())
	defer stop()
	c := DefaultConfig()
	c.DrainDelay = 0 // nobody balances the load
	c.DataFile, c.Demo, c.WebhookPrivate = filepath.Join(folder, "example.db"), true, true
	program, err := NewProgram(ctx, c, slog.New(slog.DiscardHandler))
	if err != nil {
		fmt.Println(err)
		return
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		fmt.Println(err)
		return
	}
	stopped := make(chan error, 1)
	go func() { stopped <- program.Run(ctx, listener) }()

	if err := fromQuoteToOrder(ctx, "http://"+listener.Addr().String(), "hw_demo_brackwater_dealer_known_to_everybody"); err != nil {
		fmt.Println(err)
	}
	stop()
	if err := <-stopped; err != nil {
		fmt.Println(err)
	}
	// Output:
	// check: not_makeable, fit.gap_closes at /lid/gap
	// mended: makeable_with_cautions, jams in 2 of 100 at most: true
	// kept with the same digest: true
	// quote: open, the price that was derived: true
	// order: received
	// repeated with the same key: the same order
	// call: order.received about this order, the signature is good
	// the same call once more: taken 1 time
	// by hand: the call was dealt with already
}

func fromQuoteToOrder(ctx context.Context, url, key string) error {
	service, err := client.NewClientWithResponses(url, client.WithRequestEditorFn(func(_ context.Context, r *http.Request) error {
		r.Header.Set("Authorization", "Bearer "+key)
		return nil
	}))
	if err != nil {
		return err
	}

	// Where the service calls. A receiver verifies each call before it believes it,
	// and takes each event once; the recorder before it is for what comes below.
	recorder := &recorder{calls: make(chan recorded, 8)}
	hook := httptest.NewServer(recorder)
	defer hook.Close()
	endpoint, err := service.CreateWebhookWithResponse(ctx, nil, client.NewWebhook{Url: hook.URL, Kinds: []client.EventType{"order.received"}})
	if err != nil || endpoint.JSON201 == nil {
		return fmt.Errorf("webhook: %v %s", err, endpoint.Body)
	}
	verifier, err := receiver.New(receiver.Options{Secrets: []string{endpoint.JSON201.Secret}}) // shown this once
	if err != nil {
		return err
	}
	events, taken := make(chan *client.Event, 8), 0
	recorder.next = verifier.Handler(func(_ context.Context, e *client.Event) error {
		taken++
		events <- e
		return nil
	})

	// Check, and make the change that is offered.
	length, width, corner, gap, land := 560.0, 410.0, 70.0, 2.4, 16.0
	hatch := client.Configuration{
		Units: "mm", Pattern: "flush-ledge",
		Outline: client.PlanShape{Shape: "rectangle", Length: &length, Width: &width, CornerRadius: &corner},
		Lid:     &client.LidFigures{Gap: &gap, LandWidth: &land},
	}
	ruling, err := service.CheckConfigurationWithResponse(ctx, hatch)
	if err != nil || ruling.JSON200 == nil {
		return fmt.Errorf("check: %v %s", err, ruling.Body)
	}
	first := ruling.JSON200.Findings[0]
	fmt.Printf("check: %s, %s at %s\n", ruling.JSON200.Verdict, first.Code, first.Pointer)
	for _, m := range first.Mend {
		if m.Pointer != "/lid/gap" {
			continue
		}
		if gap, err = m.Value.AsMendValue0(); err != nil {
			return err
		}
	}
	derived, err := service.DeriveConfigurationWithResponse(ctx, nil, hatch)
	if err != nil || derived.JSON200 == nil {
		return fmt.Errorf("derive: %v %s", err, derived.Body)
	}
	fit := derived.JSON200.Geometry.Fit
	fmt.Printf("mended: %s, jams in 2 of 100 at most: %v\n", derived.JSON200.Verdict, fit.ProbabilityBelowMinimum <= 0.02)

	// Keep it, have it quoted, order it.
	name := "Corrow 27 forepeak"
	kept, err := service.CreateConfigurationWithResponse(ctx, nil, client.NewConfiguration{Name: &name, Configuration: hatch})
	if err != nil || kept.JSON201 == nil {
		return fmt.Errorf("keep: %v %s", err, kept.Body)
	}
	fmt.Printf("kept with the same digest: %v\n", kept.JSON201.Digest == derived.JSON200.Digest)
	quote, err := service.MakeQuoteWithResponse(ctx, nil, client.NewQuote{Lines: []client.NewQuoteLine{{ConfigurationId: &kept.JSON201.Id}}})
	if err != nil || quote.JSON201 == nil {
		return fmt.Errorf("quote: %v %s", err, quote.Body)
	}
	fmt.Printf("quote: %s, the price that was derived: %v\n", quote.JSON201.State, quote.JSON201.Total == derived.JSON200.Bill.Totals.Price)
	purchase, once := "PO-4711", "PO-4711 of Brackwater Marine"
	ask := client.NewOrder{QuoteId: quote.JSON201.Id, PurchaseReference: &purchase}
	order, err := service.PlaceOrderWithResponse(ctx, &client.PlaceOrderParams{IdempotencyKey: &once}, ask)
	if err != nil || order.JSON201 == nil {
		return fmt.Errorf("order: %v %s", err, order.Body)
	}
	fmt.Printf("order: %s\n", order.JSON201.State)
	again, err := service.PlaceOrderWithResponse(ctx, &client.PlaceOrderParams{IdempotencyKey: &once}, ask)
	if err != nil || again.JSON201 == nil {
		return fmt.Errorf("order again: %v %s", err, again.Body)
	}
	if again.JSON201.Id == order.JSON201.Id {
		fmt.Println("repeated with the same key: the same order")
	}

	// The call that tells of it. Sent again it is answered, and not taken again.
	event := <-events
	if *event.Data.OrderId == order.JSON201.Id {
		fmt.Printf("call: %s about this order, the signature is good\n", event.Type)
	}
	call := <-recorder.calls
	if answer := recorder.replay(call); answer == http.StatusNoContent {
		fmt.Printf("the same call once more: taken %d time\n", taken)
	}
	if _, err := verifier.Verify(ctx, call.header, call.body); errors.Is(err, receiver.ErrReplayed) {
		fmt.Println("by hand:", receiver.ErrReplayed)
	}
	return nil
}

// recorder keeps the calls that come to a receiver.
type recorder struct {
	next  http.Handler
	calls chan recorded
}

type recorded struct {
	header http.Header
	body   []byte
}

func (r *recorder) ServeHTTP(w http.ResponseWriter, q *http.Request) {
	body, err := io.ReadAll(q.Body)
	if err != nil {
		return
	}
	q.Body = io.NopCloser(bytes.NewReader(body))
	r.next.ServeHTTP(w, q)
	r.calls <- recorded{q.Header, body}
}

// replay sends a recorded call to the receiver and gives the status of its answer.
func (r *recorder) replay(c recorded) int {
	q := httptest.NewRequest(http.MethodPost, "/", bytes.NewReader(c.body))
	q.Header = c.header
	answer := httptest.NewRecorder()
	r.next.ServeHTTP(answer, q)
	return answer.Code
}
