package api

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"regexp"
	"runtime/debug"
	"strings"
	"time"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"

	"hatchwright/service/fault"
	"hatchwright/service/record"
)

const requestIDHeader = "X-Request-Id"

// saneID is what is taken as a request id from outside: it goes into logs and
// answers.
var saneID = regexp.MustCompile(`^[A-Za-z0-9._:-]{1,128}$`)

// identify gives every request an id: the caller's own, if it is sane, or a new
// one. It is echoed.
func identify(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		id := c.Request().Header.Get(requestIDHeader)
		if !saneID.MatchString(id) {
			if made, err := uuid.NewV7(); err == nil {
				id = made.String()
			} else {
				id = "none"
			}
		}
		c.Response().Header().Set(requestIDHeader, id)
		return next(c)
	}
}

func requestID(c echo.Context) string { return c.Response().Header().Get(requestIDHeader) }

// trace takes up the caller's trace (W3C traceparent) and spans the request in
// it. Without a configured exporter the spans cost next to nothing and go
// nowhere.
func (a *api) trace(next echo.HandlerFunc) echo.HandlerFunc {
	var propagator propagation.TraceContext
	return func(c echo.Context) error {
		r := c.Request()
		ctx := propagator.Extract(r.Context(), propagation.HeaderCarrier(r.Header))
		if r.Header.Get("Traceparent") != "" && !trace.SpanContextFromContext(ctx).IsValid() {
			// A new trace begins, as W3C Trace Context, section 2.2, has it.
			a.log.DebugContext(ctx, "traceparent is not understood", "request_id", requestID(c))
		}
		ctx, span := a.tracer.Start(ctx, r.Method, trace.WithSpanKind(trace.SpanKindServer))
		defer span.End()
		c.SetRequest(r.WithContext(ctx))
		err := next(c)
		if span.IsRecording() {
			status := c.Response().Status
			span.SetName(r.Method + " " + c.Path())
			span.SetAttributes(attribute.String("http.request.method", r.Method), attribute.String("http.route", c.Path()),
				attribute.Int("http.response.status_code", status), attribute.String("request.id", requestID(c)))
			if status >= http.StatusInternalServerError {
				span.SetStatus(codes.Error, http.StatusText(status))
			}
		}
		return err
	}
}

// observe answers errors, and logs and counts every request.
func (a *api) observe(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		start := time.Now()
		a.metrics.inFlight.Inc()
		defer a.metrics.inFlight.Dec()
		if err := next(c); err != nil {
			a.fail(err, c)
		}
		r, w := c.Request(), c.Response()
		took := time.Since(start)
		a.metrics.count(r.Method, c.Path(), w.Status, took)
		attrs := []any{
			"request_id", requestID(c), "method", r.Method, "path", r.URL.Path, "status", w.Status,
			"bytes", w.Size, "took", took, "remote", r.RemoteAddr,
		}
		if s := trace.SpanContextFromContext(r.Context()); s.IsValid() {
			attrs = append(attrs, "trace_id", s.TraceID().String())
		}
		a.log.InfoContext(r.Context(), "request", attrs...)
		return nil
	}
}

// recover turns a panic into a problem. The stack goes to the log, never to the
// caller.
func (a *api) recover(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) (err error) {
		defer func() {
			switch p := recover(); p {
			case nil:
			case http.ErrAbortHandler:
				panic(p) // the server's own way of giving up on a connection
			default:
				a.log.ErrorContext(c.Request().Context(), "panic", "request_id", requestID(c), "panic", fmt.Sprint(p), "stack", string(debug.Stack()))
				err = fault.New(fault.Internal, "Something went wrong that is not your doing.")
			}
		}()
		return next(c)
	}
}

// secure sets the headers that keep an answer from being taken for something
// else. Pages set a policy of their own.
func secure(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		h := c.Response().Header()
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("X-Frame-Options", "DENY")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
		if path := c.Request().URL.Path; strings.HasPrefix(path, "/v1/") || path == "/metrics" {
			h.Set("Cache-Control", "no-store")
		}
		return next(c)
	}
}

// limit ends the context of a request that takes too long; a stream has none.
func (a *api) limit(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		if streams(c) {
			return next(c)
		}
		ctx, cancel := context.WithTimeout(c.Request().Context(), a.timeout)
		defer cancel()
		c.SetRequest(c.Request().WithContext(ctx))
		return next(c)
	}
}

// roleOfCaller is where a request keeps the role of its key, for the problem that it
// may be answered with.
const roleOfCaller = "role of the caller"

// bearer is the key or token that a request carries, "" for none. Spaces may stand
// round it, and no other blanks (RFC 9110, section 11.4).
func bearer(c *call) string {
	scheme, key, _ := strings.Cut(c.Request().Header.Get("Authorization"), " ")
	if !strings.EqualFold(scheme, "Bearer") {
		return ""
	}
	return strings.Trim(key, " ")
}

// authenticate finds who calls and whether the role reaches the route.
func (a *api) authenticate(c *call, need record.Role) error {
	if n := len(c.Request().Header.Values("Authorization")); n > 1 { // what stands before this service may have looked at another one
		return fault.New(fault.Unauthenticated, "Authorization comes %d times. Send it once: Authorization: Bearer hw_...", n)
	}
	var err error
	if c.caller, err = a.service.Authenticate(c.Request().Context(), bearer(c)); err != nil {
		return err
	}
	c.caller.RequestID = requestID(c)
	c.Set(roleOfCaller, c.caller.Role)
	return c.caller.Need(need)
}

// noRoute counts what is asked of paths under /v1 that are not there, or with methods
// that they do not have, as any other request: against the key, or against the address
// where no key is found to be good. Within the limits the answer is the same for all.
func (a *api) noRoute(next echo.HandlerFunc) echo.HandlerFunc {
	return func(c echo.Context) error {
		err := next(c)
		if !errors.Is(err, echo.ErrNotFound) && !errors.Is(err, echo.ErrMethodNotAllowed) || !strings.HasPrefix(c.Request().URL.Path, "/v1/") {
			return err
		}
		q := &call{Context: c}
		over := a.authenticate(q, record.RoleStorefront)
		if over == nil {
			over = a.charge(q, 1)
		} else {
			over = a.chargeStranger(q)
		}
		if over != nil {
			return over
		}
		return err
	}
}

// admit lets a request in: it finds who calls, counts what is asked for, and says
// no where either does. Who holds no good key is counted by address.
func (a *api) admit(c *call, need record.Role, units int) error {
	err := a.authenticate(c, need)
	switch fault.KindOf(err) {
	case fault.Unauthenticated:
		if over := a.chargeStranger(c); over != nil {
			return over
		}
		return err
	case fault.Forbidden: // the key is good
		if over := a.charge(c, 1); over != nil {
			return over
		}
		return err
	default:
		if err != nil {
			return err
		}
		return a.charge(c, units)
	}
}
