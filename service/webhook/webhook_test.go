package webhook

import (
	"bytes"
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"log"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	standardwebhooks "github.com/standard-webhooks/standard-webhooks/libraries/go"
)

// Addresses that are not for global use, one or more of each row of the IANA IPv4
// and IPv6 Special-Purpose Address Registries (RFC 6890 and updates; the rows from
// memory), their edges, and neighbors that are public.
func TestCheckAddress(t *testing.T) {
	for _, c := range []struct {
		refused bool
		list    string
	}{
		{true, "0.0.0.0 0.255.255.255 10.0.0.1 10.255.255.255 100.64.0.0 100.127.255.255 127.0.0.1 127.255.255.255 169.254.0.1 169.254.169.254 " +
			"172.16.0.1 172.31.255.255 192.0.0.8 192.0.0.170 192.0.2.1 192.88.99.1 192.168.0.1 192.168.255.255 198.18.0.1 198.19.255.255 " +
			"198.51.100.7 203.0.113.9 224.0.0.1 239.255.255.255 240.0.0.1 255.255.255.255 168.63.129.16"},
		{true, ":: ::1 fe80::1 fe80::1%eth0 febf::1 fc00::1 fd00:ec2::254 fec0::1 ff02::1 100::1 2001::1 2001:db8::1 2001:10::1 2001:20::1 3fff::1 5f00::1 64:ff9b:1::1"},
		// An IPv4 address inside: mapped, translated (RFC 6052), 6to4 (RFC 3056).
		{true, "::ffff:127.0.0.1 ::ffff:10.1.2.3 ::ffff:169.254.169.254 64:ff9b::7f00:1 64:ff9b::a00:1 64:ff9b::a9fe:a9fe 2002:7f00:1:: 2002:c0a8:101:: 2002:a9fe:a9fe:: ::127.0.0.1"},
		{false, "1.1.1.1 9.255.255.255 11.0.0.0 100.63.255.255 100.128.0.0 126.255.255.255 128.0.0.1 169.253.255.255 169.255.0.0 172.15.255.255 172.32.0.0 " +
			"192.0.1.1 192.167.255.255 192.169.0.0 198.17.255.255 198.20.0.0 223.255.255.255 168.63.129.17"},
		{false, "2606:4700::1111 2a00::1 2001:200::1 ::ffff:1.1.1.1 64:ff9b::101:101 2002:101:101::1 3ffe::1"},
	} {
		for _, s := range strings.Fields(c.list) {
			err := Policy{}.CheckAddress(netip.MustParseAddr(s))
			if (err != nil) != c.refused || err != nil && !errors.Is(err, ErrRefused) {
				t.Errorf("%s: %v", s, err)
			}
		}
	}
	if (Policy{}).CheckAddress(netip.Addr{}) == nil {
		t.Error("no address at all is called")
	}
	p := Policy{Allow: []netip.Prefix{netip.MustParsePrefix("10.1.0.0/16")}}
	for s, ok := range map[string]bool{"10.1.2.3": true, "::ffff:10.1.2.3": true, "10.2.0.1": false, "127.0.0.1": false} {
		if err := p.CheckAddress(netip.MustParseAddr(s)); (err == nil) != ok {
			t.Errorf("with 10.1.0.0/16 allowed, %s: %v", s, err)
		}
	}
}

func TestCheckURL(t *testing.T) {
	for text, ok := range map[string]bool{
		"https://corrow.example/hook": true, "https://corrow.example:8443/hook?x=1": true, "https://1.1.1.1/": true,
		"http://corrow.example/hook": false, "ftp://corrow.example/": false, "https:///hook": false, "https:opaque": false, "//corrow.example/": false, "": false,
		"https://user@corrow.example/": false, "https://corrow.example/#part": false, "https://127.0.0.1/": false, "https://[::1]/": false, "https://[fe80::1%25eth0]/": false,
		"https://localhost/": false, "https://api.LOCALHOST./": false, "https://169.254.169.254/latest": false, "https://192.168.1.1:8080/": false, "https://a b/": false,
		"https://corrow.example/" + strings.Repeat("x", 1000): false,
		// Other spellings of 127.0.0.1, 10.0.0.1 and 1.1.1.1 (URL Standard, section 3.5), and what only looks like one.
		"https://0x7f.1/": false, "https://0X7F.0.0.1/": false, "https://127.1/": false, "https://2130706433/": false, "https://0177.0.0.1/": false, "https://017700000001/": false,
		"https://0x7f000001:8443/hook": false, "https://0x/": false, "https://127.0.0.1./": false, "https://10.1/": false, "https://1.1/": false, "https://1.1.1.1.1/": false,
		"https://127.0.0.256/": false, "https://１２７.0.0.１/": false, "https://127。1/": false, "https://０x7f/": false,
		"https://7.corrow.example/": true, "https://0x7f.example/": true, "https://1and1.example/": true, "https://example.0xyz/": true, "https://1.1.1.1./": true, "https://[2606:4700::1]/": true,
	} {
		if err := (Policy{}).CheckURL(text); (err == nil) != ok || err != nil && !errors.Is(err, ErrRefused) {
			t.Errorf("%s: %v", text, err)
		}
	}
	loose := Policy{Plain: true, Allow: []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8")}}
	for text, ok := range map[string]bool{"http://corrow.example/": true, "http://127.0.0.1:9/": true, "http://10.0.0.1/": false, "http://[::1]/": false} {
		if err := loose.CheckURL(text); (err == nil) != ok {
			t.Errorf("%s: %v", text, err)
		}
	}
}

func TestVault(t *testing.T) {
	random := bytes.NewReader(bytes.Repeat([]byte("0123456789abcdef"), 100))
	secret, err := NewSecret(random)
	if err != nil || !strings.HasPrefix(secret, "whsec_") || len(secret) != len("whsec_")+44 {
		t.Fatal(secret, err)
	}
	clear, _ := NewVault()
	old, _ := NewVault(bytes.Repeat([]byte{1}, 32))
	both, _ := NewVault(bytes.Repeat([]byte{2}, 32), bytes.Repeat([]byte{1}, 32))
	other, _ := NewVault(bytes.Repeat([]byte{3}, 32))
	open := func(v *Vault, sealed, owner string) error {
		t.Helper()
		got, err := v.Open(sealed, owner)
		if err == nil && got != secret {
			t.Errorf("opened %q", got)
		}
		return err
	}
	plain, err := clear.Seal(secret, "a", random)
	if err != nil || clear.Seals() {
		t.Fatal(err)
	}
	sealed, err := old.Seal(secret, "a", random)
	if err != nil || !old.Seals() || strings.Contains(sealed, secret[24:40]) {
		t.Fatal(sealed, err)
	}
	again, _ := old.Seal(secret, "a", bytes.NewReader(bytes.Repeat([]byte{9}, 12)))
	if again == sealed {
		t.Error("sealing twice gives the same text")
	}
	for what, err := range map[string]error{
		"kept in the clear, key given later": open(both, plain, "a"), "the key": open(old, sealed, "a"), "an older key": open(both, sealed, "a"),
	} {
		if err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
	for what, err := range map[string]error{
		"no key": open(clear, sealed, "a"), "another key": open(other, sealed, "a"), "of another endpoint": open(old, sealed, "b"),
		"damaged": open(old, sealed[:len(sealed)-8]+"AAAAAAA=", "a"), "cut": open(old, "aes256gcm:AAAA", "a"),
	} {
		if !errors.Is(err, ErrSealed) {
			t.Errorf("%s: %v", what, err)
		}
	}
	if open(old, "rot13:x", "a") == nil || open(old, "aes256gcm:%", "a") == nil {
		t.Error("nonsense opens")
	}
	if _, err := NewVault([]byte("short")); err == nil {
		t.Error("a short key is taken")
	}
}

// The example of the specification's reference libraries (standard-webhooks,
// libraries, the test vector that all of them share): this secret, id, time and
// payload give this signature.
func TestSignVector(t *testing.T) {
	h, err := Sign(Message{ID: "msg_p5jXN8AQM9LWM0D4loKWxJek", At: time.Unix(1614265330, 0), Body: []byte(`{"test": 2432232314}`), Secrets: []string{"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"}})
	if err != nil {
		t.Fatal(err)
	}
	if got, want := h.Get("webhook-signature"), "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="; got != want {
		t.Errorf("got %s, want %s", got, want)
	}
	if h.Get("webhook-timestamp") != "1614265330" || h.Get("webhook-id") != "msg_p5jXN8AQM9LWM0D4loKWxJek" {
		t.Error(h)
	}
}

// With several secrets each of them verifies, by the library, and no other does.
func TestSignSeveral(t *testing.T) {
	random := bytes.NewReader(bytes.Repeat([]byte("abcdefghijklmnopqrstuvwxyz"), 20))
	var secrets []string
	for range 3 {
		s, err := NewSecret(random)
		if err != nil {
			t.Fatal(err)
		}
		secrets = append(secrets, s)
	}
	m := Message{ID: "1", At: time.Now(), Body: []byte(`{"a":1}`), Secrets: secrets[:2]}
	h, err := Sign(m)
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range secrets {
		verifier, err := standardwebhooks.NewWebhook(s)
		if err != nil {
			t.Fatal(err)
		}
		if err := verifier.Verify(m.Body, h); (err == nil) != (i < 2) {
			t.Errorf("secret %d: %v", i, err)
		}
		if verifier.Verify([]byte(`{"a":2}`), h) == nil {
			t.Error("another body verifies")
		}
	}
	for _, bad := range [][]string{nil, {"whsec_%"}} {
		if _, err := Sign(Message{ID: "1", Secrets: bad}); err == nil {
			t.Errorf("signed with %q", bad)
		}
	}
}

// Waits grow, last days, and end.
func TestWait(t *testing.T) {
	var least, most time.Duration
	for failed := 0; ; failed++ {
		low, again := Wait(failed, 0)
		high, _ := Wait(failed, 0.999999)
		if !again {
			if failed != len(Attempts) {
				t.Errorf("over after %d attempts", failed)
			}
			break
		}
		if high < low || high > low+low/5 || failed > 0 && low < Attempts[failed-1] {
			t.Errorf("after %d failures %v to %v", failed, low, high)
		}
		least, most = least+low, most+high
	}
	if least < 4*24*time.Hour || most > 8*24*time.Hour || DisableAfter > least {
		t.Errorf("the last attempt comes after %v to %v", least, most)
	}
	if _, again := Wait(-1, 0); again {
		t.Error("fewer than no failures")
	}
}

var loopback = Policy{Plain: true, Allow: []netip.Prefix{netip.MustParsePrefix("127.0.0.0/8"), netip.MustParsePrefix("::1/128")}}

func message() Message {
	return Message{ID: "1", At: time.Unix(1_800_000_000, 0), Body: []byte(`{"type":"order.received"}`), Secrets: []string{"whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw"}}
}

// Nothing connects to an address that is refused, whatever name leads there.
func TestCallRefused(t *testing.T) {
	var connections atomic.Int32
	receiver := httptest.NewUnstartedServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	receiver.Config.ConnState = func(net.Conn, http.ConnState) { connections.Add(1) }
	receiver.Start()
	defer receiver.Close()
	_, port, _ := net.SplitHostPort(receiver.Listener.Addr().String())
	c := NewCaller(CallerOptions{Policy: Policy{Plain: true}, Agent: "test"})
	defer c.Close()
	// The name localhost stands for any name that leads to a private address.
	for _, host := range []string{"127.0.0.1", "localhost", "[::1]", "[::ffff:127.0.0.1]", "0.0.0.0", "2130706433"} {
		o := c.Call(t.Context(), "http://"+host+":"+port+"/", message())
		if o.Err == nil || o.Status != 0 {
			t.Errorf("%s: %+v", host, o)
		}
		if host != "2130706433" && host != "[::1]" && !errors.Is(o.Err, ErrRefused) {
			t.Errorf("%s: %v", host, o.Err)
		}
	}
	if n := connections.Load(); n != 0 {
		t.Errorf("%d connections were opened", n)
	}
}

// What receivers do, and what it comes to.
func TestCall(t *testing.T) {
	var second atomic.Int32
	secret := message().Secrets[0]
	handler := http.NewServeMux()
	handler.HandleFunc("/good", func(w http.ResponseWriter, r *http.Request) {
		body, err := io.ReadAll(r.Body)
		verifier, _ := standardwebhooks.NewWebhook(secret)
		if err != nil || verifier.VerifyIgnoringTimestamp(body, r.Header) != nil || r.Method != http.MethodPost ||
			r.Header.Get("Content-Type") != "application/json" || r.Header.Get("User-Agent") != "test" || r.Header.Get("Accept-Encoding") != "" {
			t.Errorf("%v %v %s", r.Method, r.Header, body)
		}
		w.WriteHeader(http.StatusNoContent)
	})
	handler.HandleFunc("/bad", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusInternalServerError) })
	handler.HandleFunc("/gone", func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusGone) })
	handler.HandleFunc("/elsewhere", func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, "/target", http.StatusTemporaryRedirect)
	})
	handler.HandleFunc("/target", func(http.ResponseWriter, *http.Request) { second.Add(1) })
	handler.HandleFunc("/closes", func(w http.ResponseWriter, _ *http.Request) { panic(http.ErrAbortHandler) })
	handler.HandleFunc("/hangs", func(_ http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body) // only then does the server see the caller go
		<-r.Context().Done()
	})
	handler.HandleFunc("/endless", func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		chunk := make([]byte, 1<<16)
		for r.Context().Err() == nil {
			if _, err := w.Write(chunk); err != nil {
				return
			}
		}
	})
	handler.HandleFunc("/headers", func(w http.ResponseWriter, _ *http.Request) { w.Header().Set("X", strings.Repeat("x", 1<<20)) })
	receiver := httptest.NewServer(handler)
	defer receiver.Close()
	c := NewCaller(CallerOptions{Policy: loopback, Agent: "test", Time: 500 * time.Millisecond})
	defer c.Close()
	for path, want := range map[string]struct {
		status int
		ok     bool
	}{
		"/good": {204, true}, "/bad": {500, false}, "/gone": {410, false}, "/elsewhere": {307, false}, "/closes": {0, false}, "/hangs": {0, false},
		"/endless": {200, true}, "/headers": {0, false}, "/nowhere": {404, false},
	} {
		o := c.Call(t.Context(), receiver.URL+path, message())
		if o.Status != want.status || (o.Err == nil) != want.ok || o.Gone() != (path == "/gone") {
			t.Errorf("%s: %+v", path, o)
		}
		if o.Err != nil && strings.Contains(o.Err.Error(), "127.0.0.1") {
			t.Errorf("%s tells an address: %v", path, o.Err)
		}
	}
	if second.Load() != 0 {
		t.Error("a redirect was followed")
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if o := c.Call(ended, receiver.URL+"/good", message()); !errors.Is(o.Err, context.Canceled) {
		t.Errorf("a call that was given up: %v", o.Err)
	}
	receiver.Close()
	if o := c.Call(t.Context(), receiver.URL+"/good", message()); o.Err == nil || o.Status != 0 {
		t.Errorf("nobody there: %+v", o)
	}
}

// Retry-After, in both of its forms (RFC 9110, 10.2.3; the dates are of 5.6.7's three
// formats, of which a recipient reads all), with 429 and 503 and with nothing else.
func TestRetryAfter(t *testing.T) {
	m := message()
	at := func(d time.Duration) string { return m.At.Add(d).UTC().Format(http.TimeFormat) }
	for what, c := range map[string]struct {
		status      int
		after, date string
		want        time.Duration
	}{
		"seconds":                      {429, "120", "", 2 * time.Minute},
		"seconds, 503":                 {503, "0007", "", 7 * time.Second},
		"nothing":                      {503, "", "", 0},
		"none":                         {429, "0", "", 0},
		"a month":                      {429, "2592000", "", LongestPause},
		"more than a number":           {429, "99999999999999999999999999", "", LongestPause},
		"negative":                     {429, "-5", "", 0},
		"a fraction":                   {429, "1.5", "", 0},
		"words":                        {429, "soon", "", 0},
		"a date":                       {503, at(90 * time.Second), at(0), 90 * time.Second},
		"a date of a clock ahead":      {503, at(time.Hour + time.Minute), at(time.Hour), time.Minute},
		"a date that is past":          {503, at(-time.Hour), at(0), 0},
		"a date far off":               {503, at(1000 * time.Hour), at(0), LongestPause},
		"a date of RFC 850":            {503, m.At.Add(time.Minute).UTC().Format("Monday, 02-Jan-06 15:04:05 GMT"), at(0), time.Minute},
		"a date of asctime":            {503, m.At.Add(time.Minute).UTC().Format(time.ANSIC), at(0), time.Minute},
		"another status":               {500, "120", "", 0},
		"a redirect":                   {301, "120", "", 0},
		"a status that is no failure":  {200, "120", "", 0},
		"gone":                         {410, "120", "", 0},
		"a date, an answer with none":  {503, at(30 * time.Second), "none", 30 * time.Second},
		"a date, another's date wrong": {503, at(30 * time.Second), "yesterday", 30 * time.Second},
	} {
		receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
			switch c.date {
			case "":
			case "none":
				w.Header()["Date"] = nil
			default:
				w.Header().Set("Date", c.date)
			}
			if c.after != "" {
				w.Header().Set("Retry-After", c.after)
			}
			w.WriteHeader(c.status)
		}))
		caller := NewCaller(CallerOptions{Policy: loopback, Agent: "test"})
		if o := caller.Call(t.Context(), receiver.URL, m); o.Status != c.status || o.After != c.want {
			t.Errorf("%s: %+v, want a wait of %v", what, o, c.want)
		}
		caller.Close()
		receiver.Close()
	}
}

// Certificates count.
func TestCallTLS(t *testing.T) {
	receiver := httptest.NewUnstartedServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) {}))
	receiver.Config.ErrorLog = log.New(io.Discard, "", 0) // it would tell of the refused handshake
	receiver.StartTLS()
	defer receiver.Close()
	roots := x509.NewCertPool()
	roots.AddCert(receiver.Certificate())
	trusting := NewCaller(CallerOptions{Policy: loopback, Agent: "test", TLS: &tls.Config{RootCAs: roots}})
	defer trusting.Close()
	if o := trusting.Call(t.Context(), receiver.URL, message()); o.Err != nil {
		t.Error(o.Err)
	}
	strict := NewCaller(CallerOptions{Policy: loopback, Agent: "test"})
	defer strict.Close()
	if o := strict.Call(t.Context(), receiver.URL, message()); o.Err == nil {
		t.Error("a certificate that nobody vouches for is trusted")
	}
}

func FuzzCheckURL(f *testing.F) {
	for _, s := range []string{"https://corrow.example/hook", "http://127.0.0.1/", "https://[::ffff:7f00:1]/", "https://user:p@x/", "https://0x7f.1/", "https://localhost.", "https://127.1/", "https://017700000001/"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if (Policy{}).CheckURL(s) != nil {
			return
		}
		// What is kept can be called with, and holds no secret of its own.
		r, err := http.NewRequest(http.MethodPost, s, nil)
		if err != nil {
			t.Skip() // such as a port that is no number of a port; the call says so
		}
		if r.URL.Scheme != "https" || r.URL.User != nil || r.URL.Host == "" {
			t.Errorf("%q is kept", s)
		}
		// A host that a resolver may read as an address is one that was judged.
		host := strings.TrimSuffix(r.URL.Hostname(), ".")
		if a, err := netip.ParseAddr(host); err == nil {
			if (Policy{}).CheckAddress(a) != nil {
				t.Errorf("%q is kept", s)
			}
		} else if _, err := strconv.ParseUint(host[strings.LastIndexByte(host, '.')+1:], 10, 64); err == nil {
			t.Errorf("%q is kept, and ends in a number", s)
		}
	})
}
