package webhook

import (
	"bytes"
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"syscall"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
)

// Limits of a call.
const (
	// CallTime is what a call may take in all. Receivers are told to answer first
	// and work afterwards; the specification suggests 15 to 30 seconds.
	CallTime = 15 * time.Second

	dialTime      = 5 * time.Second
	handshakeTime = 5 * time.Second

	// bodyLimit is what is read of an answer, bytes: only its status counts.
	bodyLimit = 8 << 10
	// headerLimit is what an answer's headers may take, bytes.
	headerLimit = 16 << 10
)

// Message is an event to be sent.
type Message struct {
	ID      string    // the same for every attempt, so that receivers can tell repeats
	At      time.Time // of this attempt
	Body    []byte
	Secrets []string // signs with each; the newest first
}

// Outcome is what became of a call.
type Outcome struct {
	Status int   // HTTP status, 0 when there was no answer
	Err    error // nil when the receiver took it: a status of 2xx

	// After is how long the receiver asks not to be called, at most LongestPause; 0
	// when it does not ask. It asks by Retry-After with 429 or 503 (RFC 9110, 10.2.3
	// and 15.6.4; RFC 6585, 4).
	After time.Duration
}

// Gone tells whether the receiver asks to be called no more: 410, which the
// specification gives that meaning.
func (o Outcome) Gone() bool { return o.Status == http.StatusGone }

// Caller calls endpoints. It is safe for concurrent use.
type Caller struct {
	client *http.Client
	agent  string
}

// CallerOptions is what a Caller is made of.
type CallerOptions struct {
	Policy Policy
	Agent  string        // User-Agent
	TLS    *tls.Config   // nil: the system's certificates
	Time   time.Duration // for a whole call; 0: CallTime, which is also the most
	// Resolver looks names up; nil: the system's.
	Resolver *net.Resolver
}

// NewCaller makes a caller.
func NewCaller(o CallerOptions) *Caller {
	policy := o.Policy
	if o.Time <= 0 || o.Time > CallTime {
		o.Time = CallTime
	}
	dialer := &net.Dialer{
		Timeout:  dialTime,
		Resolver: o.Resolver,
		// Called for each address as its socket is about to connect, after the
		// name was looked up: nothing comes between the check and the call.
		ControlContext: func(_ context.Context, network, address string, _ syscall.RawConn) error {
			if !strings.HasPrefix(network, "tcp") {
				return fmt.Errorf("%w: %s is not TCP", ErrRefused, network)
			}
			at, err := netip.ParseAddrPort(address)
			if err != nil {
				return fmt.Errorf("%w: %w", ErrRefused, err)
			}
			return policy.CheckAddress(at.Addr())
		},
	}
	return &Caller{agent: o.Agent, client: &http.Client{
		Timeout: o.Time,
		Transport: &http.Transport{
			Proxy:                  nil, // a proxy would look the name up itself
			DialContext:            dialer.DialContext,
			TLSClientConfig:        o.TLS,
			TLSHandshakeTimeout:    handshakeTime,
			ForceAttemptHTTP2:      true,
			MaxResponseHeaderBytes: headerLimit,
			MaxIdleConnsPerHost:    2,
			IdleConnTimeout:        30 * time.Second,
			DisableCompression:     true,
		},
		// A redirect would lead past what was agreed on; it counts as a failure.
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
}

// Close lets go of idle connections.
func (c *Caller) Close() { c.client.CloseIdleConnections() }

// Sign gives the headers of a message: webhook-id, webhook-timestamp and
// webhook-signature with one signature for each secret.
func Sign(m Message) (http.Header, error) {
	if len(m.Secrets) == 0 {
		return nil, errors.New("sign a message: there is no secret")
	}
	var signatures []string
	for _, s := range m.Secrets {
		signer, err := standardwebhooks.NewWebhook(s)
		if err != nil {
			return nil, errors.New("sign a message: the secret is not whsec_ and base64")
		}
		signature, err := signer.Sign(m.ID, m.At, m.Body)
		if err != nil {
			return nil, fmt.Errorf("sign a message: %w", err)
		}
		signatures = append(signatures, signature)
	}
	h := http.Header{}
	h.Set(standardwebhooks.HeaderWebhookID, m.ID)
	h.Set(standardwebhooks.HeaderWebhookTimestamp, strconv.FormatInt(m.At.Unix(), 10))
	h.Set(standardwebhooks.HeaderWebhookSignature, strings.Join(signatures, " "))
	return h, nil
}

// Call posts a message to an endpoint.
func (c *Caller) Call(ctx context.Context, url string, m Message) Outcome {
	header, err := Sign(m)
	if err != nil {
		return Outcome{Err: err}
	}
	request, err := http.NewRequestWithContext(ctx, http.MethodPost, url, bytes.NewReader(m.Body))
	if err != nil {
		return Outcome{Err: err}
	}
	// A body that can be sent again would be, on a connection that was closed
	// while idle; whether to try again is not the client's to say.
	request.GetBody = nil
	request.Header = header
	request.Header.Set("Content-Type", "application/json")
	request.Header.Set("User-Agent", c.agent)
	answer, err := c.client.Do(request)
	if err != nil {
		return Outcome{Err: plain(err)}
	}
	defer func() { _ = answer.Body.Close() }()
	// Read on so that the connection can be used again; what does not come in
	// time, or is too long, does not matter.
	_, _ = io.Copy(io.Discard, io.LimitReader(answer.Body, bodyLimit))
	if answer.StatusCode/100 != 2 {
		o := Outcome{Status: answer.StatusCode, Err: fmt.Errorf("the receiver answered %d", answer.StatusCode)}
		if o.Status == http.StatusTooManyRequests || o.Status == http.StatusServiceUnavailable {
			o.After = retryAfter(answer.Header, m.At)
		}
		return o
	}
	return Outcome{Status: answer.StatusCode}
}

// retryAfter reads Retry-After: a count of seconds, or a date, which is taken
// against the answer's own Date if it has one, so that a receiver whose clock is
// wrong gets the wait that it means. What is neither asks for nothing.
func retryAfter(h http.Header, now time.Time) time.Duration {
	text := strings.TrimSpace(h.Get("Retry-After"))
	if text != "" && strings.Trim(text, "0123456789") == "" {
		seconds, err := strconv.ParseInt(text, 10, 64)
		if err != nil || seconds > int64(LongestPause/time.Second) {
			return LongestPause // more digits than a number holds
		}
		return time.Duration(seconds) * time.Second
	}
	at, err := http.ParseTime(text)
	if err != nil {
		return 0
	}
	if sent, err := http.ParseTime(h.Get("Date")); err == nil {
		now = sent
	}
	return min(max(at.Sub(now), 0), LongestPause)
}

// plain says what went wrong without the URL, which the reader knows, and
// without what a name was looked up to, which is not the reader's to know.
func plain(err error) error {
	var dns *net.DNSError
	var network net.Error
	switch {
	case errors.Is(err, ErrRefused):
		return fmt.Errorf("%w: the name leads to an address that may not be called", ErrRefused)
	case errors.As(err, &dns):
		return errors.New("the name could not be looked up")
	case errors.Is(err, context.Canceled):
		return err
	case errors.Is(err, context.DeadlineExceeded), errors.As(err, &network) && network.Timeout():
		return errors.New("no answer in time")
	}
	var cert *tls.CertificateVerificationError
	if errors.As(err, &cert) {
		return errors.New("the receiver's certificate is not trusted")
	}
	return errors.New("the connection failed or was closed")
}
