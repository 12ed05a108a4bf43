package receiver_test

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"

	"hatchwright/openapi/receiver"
)

// A call is verified, dealt with, and refused when it comes a second time; another
// was recorded an hour ago.
func ExampleReceiver_Verify() {
	const secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw" // shown once, when the endpoint was added
	now := time.Date(2026, 11, 30, 13, 12, 5, 0, time.UTC)
	r, err := receiver.New(receiver.Options{Secrets: []string{secret}, Now: func() time.Time { return now }})
	if err != nil {
		fmt.Println(err)
		return
	}
	const id = "01936f2e-7c2a-7b61-9d3e-1f0c2b8a4d55"
	body := []byte(`{"id":"` + id + `","type":"order.shipped","timestamp":"2026-11-30T13:12:04.123Z","data":{}}`)
	call := func(at time.Time) http.Header { // what the service does
		signer, _ := standardwebhooks.NewWebhook(secret)
		signature, _ := signer.Sign(id, at, body)
		h := http.Header{}
		h.Set("webhook-id", id)
		h.Set("webhook-timestamp", fmt.Sprint(at.Unix()))
		h.Set("webhook-signature", signature)
		return h
	}

	ctx := context.Background()
	event, err := r.Verify(ctx, call(now), body)
	fmt.Println(event.Type, err)
	if err := r.Done(ctx, event); err != nil {
		fmt.Println(err)
	}
	_, err = r.Verify(ctx, call(now), body)
	fmt.Println(errors.Is(err, receiver.ErrReplayed), receiver.ProblemOf(err))
	_, err = r.Verify(ctx, call(now.Add(-time.Hour)), body)
	fmt.Println(err)
	// Output:
	// order.shipped <nil>
	// true /problems/webhook-replayed
	// the call's time is too far from the receiver's clock: signed at 2026-11-30T12:12:05Z, which is 1h0m0s ago; 5m0s is tolerated
}
