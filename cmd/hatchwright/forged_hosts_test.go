package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

var (
	forgeries    = flag.Int("forgeries", 300, "forged requests of each of the tests that forge hosts, addresses, tokens and keys")
	forgeriesFor = flag.Uint64("forgeries-seed", 1, "seed of the tests with forgeries")
)

// wire sends bytes as they are and reads the one answer. The answer is empty when
// the server hangs up.
func wire(t *testing.T, at string, request []byte) (status int, header http.Header, body, raw []byte) {
	t.Helper()
	conn, err := net.DialTimeout("tcp", strings.TrimPrefix(at, "http://"), 5*time.Second)
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	if err := conn.SetDeadline(time.Now().Add(20 * time.Second)); err != nil {
		t.Fatal(err)
	}
	if _, err := conn.Write(request); err != nil {
		return 0, nil, nil, nil // hung up while it was sent
	}
	var all bytes.Buffer
	method, _, _ := strings.Cut(string(request), " ")
	answer, err := http.ReadResponse(bufio.NewReader(io.TeeReader(conn, &all)), &http.Request{Method: method})
	if err != nil {
		return 0, nil, nil, all.Bytes()
	}
	defer answer.Body.Close()
	if body, err = io.ReadAll(answer.Body); err != nil {
		t.Fatalf("%.300q: %v", request, err)
	}
	return answer.StatusCode, answer.Header, body, all.Bytes()
}

// The names and addresses of whoever forges. None of them may ever come back.
var forgers = []string{"evil.example", "203.0.113.66", "2001:db8::66"}

// forgedHosts are hosts as an attacker writes them; %s is the service's own address.
var forgedHosts = []string{
	"evil.example", "EVIL.EXAMPLE", "evil.example:80", "evil.example:99999", "evil.example:", "evil.example.", "203.0.113.66", "203.0.113.66:8080", "[2001:db8::66]", "[2001:db8::66]:443",
	"[2001:db8::66%25eth0]", "[2001:db8::66", "%s.evil.example", "evil.example/%s", "%s@evil.example", "user:secret@evil.example", "evil.example#%s", "evil.example?%s", "evil.example, %s", "%s,evil.example",
	"evil.example\t", "evil.example%%0d%%0aX-Injected: yes", "evil.example\r\n X-Injected: yes", "evil.example\r\nX-Injected: yes", "evil.example\x00%s", "evil.example\x7f", "évil.example", "xn--vil-9la.evil.example",
	"'\"><script>evil.example</script>", "//evil.example", "https://evil.example", "evil.example\\%s", " evil.example", "evil.example/../..", "", "*", "-", "..", "%s",
}

// forgedHeaders are headers that some server or proxy believes.
var forgedHeaders = []string{
	"X-Forwarded-Host", "X-Forwarded-Server", "X-Forwarded-For", "X-Forwarded-Proto", "X-Forwarded-Scheme", "X-Forwarded-Ssl", "X-Forwarded-Port", "X-Forwarded-Prefix", "X-Forwarded-Path", "X-Forwarded",
	"Forwarded", "Forwarded-For", "X-Host", "X-HTTP-Host-Override", "X-Original-Host", "X-Original-URL", "X-Rewrite-URL", "X-Url-Scheme", "Front-End-Https", "X-Real-IP", "True-Client-IP", "CF-Connecting-IP",
	"X-Client-IP", "X-Cluster-Client-IP", "X-Originating-IP", "Client-IP", "Via", "Referer", "Origin", "Proxy", "Proxy-Host", "Destination", "Base-URL", "X-HTTP-Method-Override",
}

// forgedHeader is a value for one of them.
func forgedHeader(name string, random *rand.Rand) string {
	host := forgers[random.IntN(len(forgers))]
	switch name {
	case "Forwarded":
		return []string{"for=203.0.113.66;host=evil.example;proto=https", `for="[2001:db8::66]:4711";by=evil.example;host="evil.example"`, "for=_evil.example, for=203.0.113.66", "host=evil.example\t;;;=", `for="`}[random.IntN(5)]
	case "X-Forwarded-For":
		return []string{"203.0.113.66", "203.0.113.66, 127.0.0.1", "2001:db8::66", "[2001:db8::66]:1", "evil.example", ",,,", "203.0.113.66:80, evil.example", "unknown"}[random.IntN(8)]
	case "X-Forwarded-Proto", "X-Forwarded-Scheme", "X-Url-Scheme":
		return []string{"https", "evil.example://", "javascript", "https,http"}[random.IntN(4)]
	case "X-Forwarded-Ssl", "Front-End-Https":
		return "on"
	case "X-Forwarded-Port":
		return []string{"443", "66", "-1", "evil.example"}[random.IntN(4)]
	case "X-Original-URL", "X-Rewrite-URL", "X-Forwarded-Prefix", "X-Forwarded-Path":
		return []string{"/v1/dealers", "//evil.example/", "https://evil.example/openapi.json", "/evil.example"}[random.IntN(4)]
	case "X-HTTP-Method-Override":
		return "DELETE"
	case "Referer", "Origin", "Destination", "Base-URL", "Proxy":
		return []string{"https://", "http://", "//"}[random.IntN(3)] + host
	}
	return []string{host, host + ":66", "https://" + host, host + ", " + host, "127.0.0.1, " + host}[random.IntN(5)]
}

// asked is a request of which the answer is known.
type asked struct {
	method, path, body, key string
	stable                  bool // the body is the same each time
}

// Requests with forged hosts in every place where a host can be: the request's
// target, Host, and what proxies say. What the answer says never holds the
// attacker's host; where the request is answered at all, the answer is the one that
// it gets without the forgery. -forgeries 20000 is the long run.
func TestForgedHosts(t *testing.T) {
	r := served(t, "HATCHWRIGHT_ADDRESS_RATE=0")
	at := r.at()
	self := strings.TrimPrefix(at, "http://")
	base, err := url.Parse(at + "/docs/")
	if err != nil {
		t.Fatal(err)
	}
	hatch, err := os.ReadFile(filepath.Join(scenarios, "01-heron-24-anchor-locker.request.json"))
	if err != nil {
		t.Fatal(err)
	}
	requests := []asked{
		{"GET", "/openapi.json", "", "", true}, {"GET", "/docs", "", "", true}, {"GET", "/docs/", "", "", true}, {"GET", "/docs/index.html", "", "", true}, {"GET", "/docs//", "", "", true}, {"GET", "/docs/..", "", "", false},
		{"GET", "/problems/not-found", "", "", true}, {"GET", "/healthz", "", "", true}, {"GET", "/readyz", "", "", true}, {"GET", "/metrics", "", "", false}, {"GET", "/nothing", "", "", false},
		{"GET", "/v1/configurations?limit=1", "", demoDealer, true}, {"GET", "/v1/dealers?limit=1", "", demoShop, true},
		{"GET", "/v1/audit?limit=1", "", demoShop, false}, {"GET", "/v1/shop/load", "", demoShop, false}, {"GET", "/v1/dealers", "", "", false}, {"GET", "/v1/dealers", "", demoDealer, false}, {"DELETE", "/v1/check", "", demoShop, false},
		{"POST", "/v1/check", string(hatch), demoStorefront, true}, {"POST", "/v1/check", `{"units":"ells"}`, demoStorefront, false}, {"POST", "/v1/configurations", `{"configuration":` + string(hatch) + `}`, demoOther, false},
		{"POST", "/v1/quotes", `{"lines":[{"configuration":` + string(hatch) + `}]}`, demoOther, false}, {"OPTIONS", "/v1/check", "", "", false},
	}
	write := func(a asked, version, target, host string, headers [][2]string) []byte {
		var b bytes.Buffer
		fmt.Fprintf(&b, "%s %s HTTP/%s\r\n", a.method, target, version)
		if host != "\x00none" {
			fmt.Fprintf(&b, "Host: %s\r\n", host)
		}
		for _, h := range headers {
			fmt.Fprintf(&b, "%s: %s\r\n", h[0], h[1])
		}
		if a.key != "" {
			fmt.Fprintf(&b, "Authorization: Bearer %s\r\n", a.key)
		}
		if a.body != "" {
			fmt.Fprintf(&b, "Content-Type: application/json\r\nContent-Length: %d\r\n", len(a.body))
		}
		fmt.Fprintf(&b, "Connection: close\r\n\r\n%s", a.body)
		return b.Bytes()
	}
	type known struct {
		status         int
		location, link string
		kind           string // of problem
		body           string
	}
	read := func(a asked, request []byte) (k known, raw []byte) {
		status, header, body, raw := wire(t, at, request)
		k = known{status: status, location: header.Get("Location"), link: header.Get("Link")}
		if a.stable {
			k.body = string(body)
		}
		if status == http.StatusCreated {
			k.location, _, _ = strings.Cut(k.location, "/01") // a new id each time
		}
		if _, cursor, ok := strings.Cut(k.link, "cursor="); ok && !a.stable {
			k.link = strings.ReplaceAll(k.link, cursor, "")
		}
		var p struct{ Type string }
		if strings.HasPrefix(header.Get("Content-Type"), "application/problem+json") && json.Unmarshal(body, &p) == nil {
			k.kind = p.Type
		}
		for name, values := range header {
			for _, v := range values {
				if at, err := base.Parse(v); (name == "Location" || name == "Content-Location") && (err != nil || at.Host != base.Host || strings.Contains(v, "\\")) {
					t.Errorf("%q: %s leads to %q", request, name, v)
				}
				if name == "Link" && (!strings.HasPrefix(v, "</") || strings.HasPrefix(v, "<//")) {
					t.Errorf("%q: %s leads to %q", request, name, v)
				}
			}
		}
		if header.Get("X-Injected") != "" {
			t.Errorf("%q: a header came in by the host: %v", request, header)
		}
		return k, raw
	}
	plain := make([]known, len(requests))
	links, locations := 0, 0
	for i, a := range requests {
		plain[i], _ = read(a, write(a, "1.1", a.path, self, nil))
		if plain[i].link != "" {
			links++
		}
		if plain[i].location != "" {
			locations++
		}
	}
	if links < 2 || locations < 3 {
		t.Fatalf("%d of the requests give a Link and %d a Location: %+v", links, locations, plain)
	}
	random := rand.New(rand.NewPCG(*forgeriesFor, 31))
	one := func(list ...string) string { return list[random.IntN(len(list))] }
	statuses, answered, silent := map[int]int{}, 0, 0
	for n := range *forgeries {
		i := random.IntN(len(requests))
		a := requests[i]
		host := self
		if random.IntN(4) > 0 {
			host = forgedHosts[random.IntN(len(forgedHosts))]
			if strings.Contains(host, "%") {
				host = strings.ReplaceAll(strings.ReplaceAll(host, "%s", self), "%%", "%")
			}
		}
		target, version, same := a.path, "1.1", true
		switch random.IntN(10) {
		case 0, 1, 2: // the absolute form, of which RFC 9112, section 3.2.2, says that its host counts
			target = one("http", "https", "HTTP", "ftp", "javascript") + "://" + one("evil.example", "evil.example:66", "user:secret@evil.example", "[2001:db8::66]", "203.0.113.66", "evil.example.") + a.path
		case 3: // no path of ours
			same = false
			target = one("//evil.example", "//evil.example/..", "/\\evil.example", "/%2f%2fevil.example", "/%5cevil.example", "/docs//evil.example", "/docs/..//evil.example/%2e%2e", "/docs/%2f%2fevil.example", "/.evil.example", "//docs/evil.example") + a.path
		case 4:
			same = false
			target = one("*", "evil.example:443", "evil.example", "http:", "http://", "http:///"+a.path, "://evil.example/", "?"+a.path, "http:evil.example")
		}
		if random.IntN(8) == 0 {
			if version = "1.0"; random.IntN(2) == 0 {
				host = "\x00none"
			}
		}
		var headers [][2]string
		for range random.IntN(5) {
			name := forgedHeaders[random.IntN(len(forgedHeaders))]
			headers = append(headers, [2]string{name, forgedHeader(name, random)})
		}
		if random.IntN(12) == 0 {
			headers = append(headers, [2]string{"Host", one("evil.example", self)}) // twice
		}
		if random.IntN(20) == 0 {
			a.method, same = "CONNECT", false
		}
		request := write(a, version, target, host, headers)
		got, raw := read(a, request)
		low := strings.ToLower(string(raw))
		for _, f := range forgers {
			if strings.Contains(low, f) {
				t.Errorf("forgery %d: %q is in the answer to %q:\n%s", n, f, request, raw)
			}
		}
		statuses[got.status]++
		switch {
		case len(raw) == 0:
			silent++
			t.Errorf("forgery %d: no answer to %q", n, request)
		case got.status >= 500 && got.status != http.StatusNotImplemented:
			t.Errorf("forgery %d: %d to %q", n, got.status, request)
		case !same, got.kind == "" && got.status == http.StatusBadRequest: // no path of ours; or refused before it is a request
		case got != plain[i]:
			t.Errorf("forgery %d: the answer to %q is %.300q, want %.300q", n, request, fmt.Sprint(got), fmt.Sprint(plain[i]))
		default:
			answered++
		}
		if t.Failed() && n > 20 {
			break
		}
	}
	t.Logf("%d forged requests, seed %d: statuses %v; %d answered word for word as without the forgery", *forgeries, *forgeriesFor, statuses, answered)
	if answered < *forgeries/4 {
		t.Errorf("only %d of %d were answered: the forgeries are too wild to prove anything", answered, *forgeries)
	}
}

// Whoever has no good key is counted by address, and no header makes the address
// another one, unless it is written by a proxy that is trusted: then the last address
// that the proxies did not write themselves counts, and no other header.
func TestForgedAddresses(t *testing.T) {
	const size = 40
	count := max(2*size, *forgeries/4)
	for _, c := range []struct {
		name, proxies string
		// spread tells whether a header of this kind, written by the test as the
		// proxy, may make one address of another.
		spread string
	}{
		{"no proxy", "", ""},
		{"another proxy", "10.0.0.0/8,::1,192.0.2.0/24", ""},
		{"a trusted proxy", "127.0.0.1", "X-Forwarded-For"},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := served(t, fmt.Sprint("HATCHWRIGHT_ADDRESS_RATE=", size), "HATCHWRIGHT_PROXIES="+c.proxies)
			random := rand.New(rand.NewPCG(*forgeriesFor, 32))
			began := time.Now()
			through, refused := 0, 0
			send := func(headers ...[2]string) int {
				t.Helper()
				var b bytes.Buffer
				fmt.Fprintf(&b, "GET /v1/dealers HTTP/1.1\r\nHost: x\r\nConnection: close\r\n")
				for _, h := range headers {
					fmt.Fprintf(&b, "%s: %s\r\n", h[0], h[1])
				}
				status, _, body, _ := wire(t, r.at(), append(b.Bytes(), "\r\n"...))
				if status != http.StatusUnauthorized && status != http.StatusTooManyRequests {
					t.Fatalf("%v: %d %s", headers, status, body)
				}
				return status
			}
			for range count {
				var headers [][2]string
				// Each a new address, and so a new bucket for whoever believes it.
				address := fmt.Sprintf("198.18.%d.%d", random.IntN(256), random.IntN(256))
				if random.IntN(3) == 0 {
					address = fmt.Sprintf("2001:db8:%x:%x::1", random.IntN(65536), random.IntN(65536))
				}
				for range 1 + random.IntN(3) {
					name := []string{"X-Forwarded-For", "X-Real-IP", "Forwarded", "True-Client-IP", "CF-Connecting-IP", "X-Client-IP", "X-Cluster-Client-IP", "Client-IP", "X-Forwarded", "Forwarded-For", "X-Originating-IP", "x_forwarded_for"}[random.IntN(12)]
					value := address
					if name == "Forwarded" {
						value = fmt.Sprintf("for=%q", address)
					}
					if name == "X-Forwarded-For" {
						if c.spread != "" { // what the proxy saw is one address; what stands before it was written by the sender
							value = address + ", 198.18.0.1"
						} else if random.IntN(2) == 0 {
							value = address + ", 127.0.0.1"
						}
					}
					headers = append(headers, [2]string{name, value})
				}
				if c.spread != "" { // the last line of it is the proxy's
					headers = append(headers, [2]string{"X-Forwarded-For", "198.18.0.1"})
				}
				if send(headers...) == http.StatusTooManyRequests {
					refused++
				} else {
					through++
				}
			}
			most := size + int(time.Since(began).Seconds()*size/60) + 1
			if through > most || refused == 0 {
				t.Errorf("%d of %d requests came through, want at most %d: an address was forged", through, count, most)
			}
			// Another address, as the proxy says, has a bucket of its own.
			want := http.StatusTooManyRequests
			if c.spread != "" {
				want = http.StatusUnauthorized
			}
			if got := send([2]string{"X-Forwarded-For", "198.18.7.7"}); got != want {
				t.Errorf("another address by X-Forwarded-For: %d, want %d", got, want)
			}
			t.Logf("%d requests under forged addresses: %d let through, %d refused", count, through, refused)
		})
	}
}
