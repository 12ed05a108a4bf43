package service

import (
	"context"
	"crypto/tls"
	"fmt"
	"time"

	"hatchwright/service/webhook"
)

// WebhookOptions says how endpoints are called.
type WebhookOptions struct {
	// Keys seal signing secrets: 32 bytes each; the first seals, all open. Without
	// one, secrets are kept in the clear; Bootstrap seals those once there is one.
	Keys   [][]byte
	Policy webhook.Policy
	// TLS is for calling endpoints, nil for the system's certificates.
	TLS *tls.Config
	// Agent is the User-Agent of calls, "" for the service's name.
	Agent string
	// CallTime is what a call may take, 0 for webhook.CallTime, which is the most.
	CallTime time.Duration
}

// endpointCaller is what calls endpoints.
type endpointCaller interface {
	Call(ctx context.Context, url string, m webhook.Message) webhook.Outcome
	Close() // lets go of idle connections
}

// hooks is what webhooks need.
type hooks struct {
	vault  *webhook.Vault
	policy webhook.Policy
	caller endpointCaller
}

func (h *hooks) prepare(o WebhookOptions) error {
	vault, err := webhook.NewVault(o.Keys...)
	if err != nil {
		return fmt.Errorf("service: %w", err)
	}
	if o.Agent == "" {
		o.Agent = "hatchwright-webhooks"
	}
	*h = hooks{vault: vault, policy: o.Policy, caller: webhook.NewCaller(webhook.CallerOptions{Policy: o.Policy, Agent: o.Agent, TLS: o.TLS, Time: o.CallTime})}
	return nil
}

// Limits of webhooks.
const (
	// secretOverlap is how long an older secret goes on signing after a newer one
	// was made: time to change it at the receiver.
	secretOverlap = 24 * time.Hour
	// mostSecrets bounds how many secrets sign at once; each is a signature in
	// every call's header.
	mostSecrets = 4

	// deliveryLease is how long a worker holds a delivery: what a call may take, what
	// keeping its outcome may take, and as much again for a busy store, so that only a
	// dead worker is taken over from, and soon.
	deliveryLease = webhook.CallTime + settleTime + 25*time.Second
	// deliverySlots are the calls that one process makes at once.
	deliverySlots = 16
	// endpointSlots are the calls to one endpoint at once, by all processes: one
	// that hangs leaves slots to the others.
	endpointSlots = 4
	// fanOutBatch is how many events one transaction makes into deliveries.
	fanOutBatch = 100
	// pollEvery is how often is looked for what other processes wrote; what this one
	// wrote is seen at once.
	pollEvery = time.Second
	// settleTime is what keeping an outcome may take when the process is stopping.
	settleTime = 5 * time.Second
)
