package identity

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"sync"
	"time"
)

// How long what a fetching came to stands. A new key is published before it signs,
// so ten seconds cost nobody anything; a provider that was away is asked again soon.
const (
	goodFor = 10 * time.Second
	badFor  = 3 * time.Second
)

// largestAnswer is more than any discovery document or set of keys has, bytes.
const largestAnswer = 1 << 20

// sparing fetches each address once in a while. Whatever is no 200 is an error of
// the type *unfetched.
type sparing struct {
	next  http.RoundTripper
	clock func() time.Time

	mu   sync.Mutex
	kept map[string]fetched
}

// fetched is what a fetching came to.
type fetched struct {
	at     time.Time
	header http.Header
	body   []byte
	err    error
}

type unfetched struct{ cause error }

func (u *unfetched) Error() string { return u.cause.Error() }
func (u *unfetched) Unwrap() error { return u.cause }

// RoundTrip implements http.RoundTripper.
func (s *sparing) RoundTrip(r *http.Request) (*http.Response, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f, ok := s.kept[r.URL.String()]
	stands := goodFor
	if f.err != nil {
		stands = badFor
	}
	if age := s.clock().Sub(f.at); !ok || age < 0 || age >= stands {
		f = s.fetch(r)
		s.kept[r.URL.String()] = f
	}
	if f.err != nil {
		return nil, f.err
	}
	return &http.Response{Status: "200 OK", StatusCode: http.StatusOK, Proto: "HTTP/1.1", ProtoMajor: 1, ProtoMinor: 1, Header: f.header.Clone(),
		Body: io.NopCloser(bytes.NewReader(f.body)), ContentLength: int64(len(f.body)), Request: r}, nil
}

func (s *sparing) fetch(r *http.Request) (f fetched) {
	response, err := s.next.RoundTrip(r)
	if err == nil {
		f.body, err = io.ReadAll(io.LimitReader(response.Body, largestAnswer))
		_ = response.Body.Close()
	}
	if err == nil && response.StatusCode != http.StatusOK {
		err = fmt.Errorf("%s answered %s", r.URL.Redacted(), response.Status)
	}
	if err != nil {
		f.err = &unfetched{err}
	} else {
		f.header = response.Header
	}
	f.at = s.clock()
	return f
}
