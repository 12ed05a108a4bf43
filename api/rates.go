package api

import (
	"fmt"
	"math"
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"

	"hatchwright/service"
)

// Rates is how much may be asked for at once. The zero Rates holds nobody back.
// Every process counts for itself.
type Rates struct {
	// Key is how many units a minute each key has, and at once after a minute's
	// rest; a key and those that it was rotated into share them. 0: no limit.
	Key int
	// Address is how many requests a minute an address may send without a good key;
	// IPv6 addresses count by their network of 64 bits. 0: no limit.
	Address int
	// Streams is how many streams of events a key may have open. 0: no limit.
	Streams int
	// Proxies are those whose X-Forwarded-For is believed. None: an address is that
	// of the connection.
	Proxies []netip.Prefix
	// Clock is what buckets fill by; nil: time.Now.
	Clock func() time.Time
}

// Figures of the buckets.
const (
	// rateWindow is what a rate is said for, and how long an empty bucket takes to
	// fill.
	rateWindow = time.Minute
	// mostAddresses is how many addresses are told apart, so that a sender with a
	// whole network does not fill the memory: some 2 MB. Beyond, the others share
	// one bucket.
	mostAddresses = 10_000
	// networkBits is what of an IPv6 address tells one site from another (RFC 4291,
	// 2.5.4: an interface has the lower 64).
	networkBits = 64
	// streamRetry is what is told to wait when too many streams are open, seconds:
	// when one of them ends is not known.
	streamRetry = 5
)

// Names of the policies in the headers.
const (
	policyKey     = "default"
	policyAddress = "address"
	policyQuota   = "day"
)

// buckets are token buckets of one size. Those that nobody takes from are dropped
// once they are full again, which changes nothing for anybody: they move from the
// young to the old generation, and out, when more than a window has gone by.
type buckets struct {
	size int
	most int // how many are told apart; 0: as many as come

	mu         sync.Mutex
	turned     time.Time
	young, old map[string]*rate.Limiter
	rest       *rate.Limiter // shared by those beyond most
}

func newBuckets(size, most int) *buckets {
	return &buckets{size: size, most: most, young: map[string]*rate.Limiter{}, rest: newBucket(size)}
}

func newBucket(size int) *rate.Limiter {
	return rate.NewLimiter(rate.Limit(float64(size)/rateWindow.Seconds()), size)
}

// level is what is left in a bucket.
type level struct {
	policy string
	size   int
	window time.Duration
	left   int
	whole  int // seconds until it is full again
	wait   int // seconds until it holds what was asked for; 0: it did
}

// take takes units from a bucket, if they are in it. What weighs more than the
// whole bucket takes the whole bucket.
func (b *buckets) take(name string, units int, now time.Time) level {
	b.mu.Lock()
	defer b.mu.Unlock()
	l := b.bucket(name, now)
	units = min(units, b.size)
	out := level{size: b.size, window: rateWindow}
	if !l.AllowN(now, units) {
		out.wait = secondsUntil(l, now, units)
	}
	// A bucket is full but for the rounding of binary fractions.
	out.left = int(l.TokensAt(now) + 1e-6)
	out.whole = secondsUntil(l, now, b.size)
	return out
}

// secondsUntil is how many whole seconds a bucket needs to hold so much.
func secondsUntil(l *rate.Limiter, now time.Time, units int) int {
	lacking := float64(units) - l.TokensAt(now)
	if lacking <= 0 {
		return 0
	}
	s := int(math.Ceil(lacking/float64(l.Limit()) - 1e-6))
	for l.TokensAt(now.Add(time.Duration(s)*time.Second)) < float64(units)-1e-9 {
		s++
	}
	return max(s, 1)
}

func (b *buckets) bucket(name string, now time.Time) *rate.Limiter {
	switch age := now.Sub(b.turned); {
	case age >= 2*rateWindow:
		b.old, b.young, b.turned = nil, map[string]*rate.Limiter{}, now
	case age >= rateWindow:
		b.old, b.young, b.turned = b.young, map[string]*rate.Limiter{}, now
	}
	if l := b.young[name]; l != nil {
		return l
	}
	l := b.old[name]
	delete(b.old, name)
	if l == nil {
		if b.most > 0 && len(b.young)+len(b.old) >= b.most {
			return b.rest
		}
		l = newBucket(b.size)
	}
	b.young[name] = l
	return l
}

// streamCount counts open streams by key.
type streamCount struct {
	most int
	mu   sync.Mutex
	open map[string]int
}

// enter counts one more, unless there are as many as there may be.
func (s *streamCount) enter(name string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.most > 0 && s.open[name] >= s.most {
		return false
	}
	s.open[name]++
	return true
}

func (s *streamCount) leave(name string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.open[name]--; s.open[name] <= 0 {
		delete(s.open, name)
	}
}

// rates is what holds requests back.
type rates struct {
	clock     func() time.Time
	keys      *buckets // nil: no limit
	addresses *buckets // nil: no limit
	streams   streamCount
}

func newRates(o Rates) *rates {
	r := &rates{clock: o.Clock, streams: streamCount{most: o.Streams, open: map[string]int{}}}
	if r.clock == nil {
		r.clock = time.Now
	}
	if o.Key > 0 {
		r.keys = newBuckets(o.Key, 0)
	}
	if o.Address > 0 {
		r.addresses = newBuckets(o.Address, mostAddresses)
	}
	return r
}

// addressOf takes the address of whoever asks: that of the connection, or, through
// proxies that are trusted, the last one in X-Forwarded-For that is not theirs.
// One there that is no address makes all that come through the proxy count as the proxy
// itself, which holds back too many rather than none; the log says so, once a minute.
func (a *api) addressOf(proxies []netip.Prefix) echo.IPExtractor {
	if len(proxies) == 0 {
		return echo.ExtractIPDirect()
	}
	trust := []echo.TrustOption{echo.TrustLoopback(false), echo.TrustLinkLocal(false), echo.TrustPrivateNet(false)}
	for _, p := range proxies {
		trust = append(trust, echo.TrustIPRange(&net.IPNet{IP: p.Masked().Addr().AsSlice(), Mask: net.CIDRMask(p.Bits(), p.Addr().BitLen())}))
	}
	extract := echo.ExtractIPFromXFFHeader(trust...)
	var told atomic.Int64
	return func(r *http.Request) string {
		address := extract(r)
		header := strings.Join(r.Header.Values(echo.HeaderXForwardedFor), ",")
		direct, _, _ := net.SplitHostPort(r.RemoteAddr)
		if header == "" || address != direct {
			return address
		}
		last := strings.Trim(strings.TrimSpace(header[strings.LastIndexByte(header, ',')+1:]), "[]")
		if _, err := netip.ParseAddr(last); err == nil {
			return address
		}
		now := time.Now().Unix()
		if then := told.Load(); now-then >= 60 && told.CompareAndSwap(then, now) {
			a.log.Warn("X-Forwarded-For ends with what is no address: all that comes through this proxy counts as the proxy; it must add the address alone, without a port", "proxy", direct, "last", last)
		}
		return address
	}
}

// network is what an address counts as.
func network(address string) string {
	a, err := netip.ParseAddr(address)
	if err != nil {
		return "" // no network at all, as over a Unix socket
	}
	if a = a.Unmap().WithZone(""); a.Is6() {
		if p, err := a.Prefix(networkBits); err == nil {
			return p.String()
		}
	}
	return a.String()
}

// account is whose bucket a request takes from: that of a key and all that came of it
// by rotation, or of a person.
func (c *call) account() string {
	if c.caller.Subject != "" {
		return c.caller.Issuer + "\n" + c.caller.Subject
	}
	return c.caller.Account.String()
}

// rateError is a problem of asking for too much.
type rateError struct {
	problem *problem
	detail  string
	after   int // Retry-After, seconds; 0 for the problem's own
}

func (e *rateError) Error() string { return e.detail }

// chargeStranger counts a request without a good key against its address. Unknown,
// revoked and expired keys are the same, so that the count tells nothing of them.
func (a *api) chargeStranger(c *call) error {
	if a.rates.addresses == nil {
		return nil
	}
	l := a.rates.addresses.take(network(c.RealIP()), 1, a.rates.clock())
	l.policy = policyAddress
	c.tell(l)
	if l.wait == 0 {
		return nil
	}
	return &rateError{problem: problemTooMany, after: l.wait,
		detail: fmt.Sprintf("Too many requests without a good key come from this address: %d a minute are let through. Wait %d s.", l.size, l.wait)}
}

// charge counts units against the caller's key, and against its quota of the day.
func (a *api) charge(c *call, units int) error {
	if units == 0 {
		return nil
	}
	var levels []level
	defer func() { c.tell(levels...) }()
	if a.rates.keys != nil {
		l := a.rates.keys.take(c.account(), units, a.rates.clock())
		l.policy = policyKey
		levels = append(levels, l)
		if l.wait > 0 {
			if c.caller.Quota > 0 {
				levels = append(levels, quotaLevel(a.service.Spent(c.caller)))
			}
			return &rateError{problem: problemTooMany, after: l.wait,
				detail: fmt.Sprintf("This key has %d units a minute; this request weighs %d, %d are left. Wait %d s.", l.size, units, l.left, l.wait)}
		}
	}
	if c.caller.Quota == 0 {
		return nil
	}
	s, err := a.service.Spend(c.Request().Context(), c.caller, units)
	if err != nil {
		return err
	}
	l := quotaLevel(s)
	levels = append(levels, l)
	switch {
	case s.Taken:
		return nil
	case units > s.Quota:
		return &rateError{problem: problemQuotaSpent,
			detail: fmt.Sprintf("This request weighs %d units, more than the whole quota of this key, %d a day. Ask for less at once.", units, s.Quota)}
	}
	return &rateError{problem: problemQuotaSpent, after: l.whole,
		detail: fmt.Sprintf("This key has %d units a day (UTC); this request weighs %d, %d are left. It is renewed in %d s, at midnight UTC.", s.Quota, units, l.left, l.whole)}
}

// quotaLevel is what is left of a quota.
func quotaLevel(s service.Spending) level {
	return level{policy: policyQuota, size: s.Quota, window: 24 * time.Hour, left: max(0, s.Quota-s.Spent), whole: int(math.Ceil(s.Renews.Seconds()))}
}

// tell writes the headers (draft-ietf-httpapi-ratelimit-headers-11, sections 3 and
// 4): lists of strings with parameters, in the syntax of RFC 9651. The units are the
// service's own, so qu, whose words are registered ones, is left out.
func (c *call) tell(levels ...level) {
	if len(levels) == 0 {
		return
	}
	var policies, now []string
	for _, l := range levels {
		name := strconv.Quote(l.policy)
		policies = append(policies, fmt.Sprintf("%s;q=%d;w=%d", name, l.size, int(l.window.Seconds())))
		now = append(now, fmt.Sprintf("%s;r=%d;t=%d", name, l.left, l.whole))
	}
	h := c.Response().Header()
	h.Set(policyHeader, strings.Join(policies, ", "))
	h.Set(rateHeader, strings.Join(now, ", "))
}

// Names of the headers.
const (
	rateHeader   = "RateLimit"
	policyHeader = "RateLimit-Policy"
)
