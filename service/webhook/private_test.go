package webhook

import (
	"context"
	"encoding/binary"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

var (
	forgeries     = flag.Int("forgeries", 2000, "endpoints at private addresses of the test that makes them up")
	forgeriesSeed = flag.Uint64("forgeries-seed", 1, "its seed")
)

// names is a resolver in this process: it gives each name its addresses, those of the
// next line for each time that it is asked, and the last line from then on. A name that
// is not listed leads to where the others would: trap.
type names struct {
	mu   sync.Mutex
	list map[string][][]netip.Addr
	trap []netip.Addr
	now  map[string]int // asked so often
}

func (n *names) resolver() *net.Resolver {
	return &net.Resolver{PreferGo: true, Dial: func(context.Context, string, string) (net.Conn, error) {
		client, server := net.Pipe() // over a stream a message follows its length (RFC 1035, section 4.2.2)
		go n.serve(server)
		return client, nil
	}}
}

func (n *names) serve(c net.Conn) {
	defer c.Close()
	for {
		var size [2]byte
		if _, err := io.ReadFull(c, size[:]); err != nil {
			return
		}
		ask := make([]byte, binary.BigEndian.Uint16(size[:]))
		if _, err := io.ReadFull(c, ask); err != nil || len(ask) < 12 {
			return
		}
		// The question is the name's labels, its type and its class (section 4.1.2).
		var labels []string
		at := 12
		for at < len(ask) && ask[at] > 0 {
			end := at + 1 + int(ask[at])
			labels = append(labels, string(ask[at+1:end]))
			at = end
		}
		kind := binary.BigEndian.Uint16(ask[at+1:])
		question := ask[12 : at+5]
		var records []byte
		count := 0
		for _, a := range n.answer(strings.ToLower(strings.Join(labels, ".")), kind) {
			if a.Is4() != (kind == 1) {
				continue
			}
			records = append(records, 0xc0, 12, 0, byte(kind), 0, 1, 0, 0, 0, 0, 0, byte(a.BitLen()/8)) // lives 0 s
			records = append(records, a.AsSlice()...)
			count++
		}
		out := append([]byte{ask[0], ask[1], 0x81, 0x80, 0, 1, 0, byte(count), 0, 0, 0, 0}, question...)
		out = append(out, records...)
		if _, err := c.Write(append(binary.BigEndian.AppendUint16(nil, uint16(len(out))), out...)); err != nil {
			return
		}
	}
}

// answer counts a lookup by its question for IPv4, which is always asked too.
func (n *names) answer(name string, kind uint16) []netip.Addr {
	n.mu.Lock()
	defer n.mu.Unlock()
	lines, ok := n.list[name]
	if !ok {
		return n.trap
	}
	i := min(n.now[name], len(lines)-1)
	if kind == 1 {
		n.now[name]++
	}
	return lines[i]
}

func addresses(list ...string) (out []netip.Addr) {
	for _, s := range list {
		out = append(out, netip.MustParseAddr(s))
	}
	return out
}

// grounds is a receiver that may be called, at 127.0.0.2, and traps that may not, at
// the same port of other addresses of this machine.
type grounds struct {
	t       *testing.T
	port    string
	names   *names
	calls   atomic.Int32 // of the receiver
	trapped atomic.Int32 // connections to traps
	behave  func(w http.ResponseWriter, r *http.Request)
	policy  Policy
}

func newGrounds(t *testing.T) *grounds {
	t.Helper()
	g := &grounds{t: t, names: &names{list: map[string][][]netip.Addr{}, now: map[string]int{}, trap: addresses("127.0.0.1", "::1")},
		policy: Policy{Plain: true, Allow: []netip.Prefix{netip.MustParsePrefix("127.0.0.2/32")}}}
	l, err := net.Listen("tcp", "127.0.0.2:0")
	if err != nil {
		t.Fatal(err)
	}
	_, g.port, _ = net.SplitHostPort(l.Addr().String())
	receiver := &http.Server{ReadHeaderTimeout: time.Second, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		g.calls.Add(1)
		if g.behave != nil {
			g.behave(w, r)
		}
	})}
	go func() { _ = receiver.Serve(l) }()
	t.Cleanup(func() { receiver.Close() })
	for _, at := range []string{"127.0.0.1", "127.0.0.3", "[::1]"} {
		l, err := net.Listen("tcp", at+":"+g.port)
		if err != nil && at == "[::1]" {
			continue // a machine without IPv6
		}
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { l.Close() })
		go func() {
			for {
				c, err := l.Accept()
				if err != nil {
					return // the test is over
				}
				g.trapped.Add(1)
				c.Close()
			}
		}()
	}
	return g
}

func (g *grounds) caller() *Caller {
	c := NewCaller(CallerOptions{Policy: g.policy, Agent: "test", Time: 2 * time.Second, Resolver: g.names.resolver()})
	g.t.Cleanup(c.Close)
	return c
}

// A name may lead elsewhere from one call to the next, or to several places at once: what
// counts is where each connection goes.
func TestNamesThatLeadElsewhere(t *testing.T) {
	for name, c := range map[string]struct {
		lines [][]netip.Addr
		// what each call comes to: whether the receiver is reached
		reached []bool
	}{
		"allowed":                              {[][]netip.Addr{addresses("127.0.0.2")}, []bool{true, true}},
		"private":                              {[][]netip.Addr{addresses("127.0.0.1")}, []bool{false, false}},
		"IPv6":                                 {[][]netip.Addr{addresses("::1")}, []bool{false}},
		"another of this machine":              {[][]netip.Addr{addresses("127.0.0.3")}, []bool{false}},
		"IPv4 within IPv6":                     {[][]netip.Addr{addresses("::ffff:127.0.0.1")}, []bool{false}},
		"translated":                           {[][]netip.Addr{addresses("64:ff9b::7f00:1")}, []bool{false}},
		"within 6to4":                          {[][]netip.Addr{addresses("2002:7f00:1::")}, []bool{false}},
		"nowhere":                              {[][]netip.Addr{addresses("0.0.0.0")}, []bool{false}},
		"cloud metadata":                       {[][]netip.Addr{addresses("169.254.169.254")}, []bool{false}},
		"bound anew":                           {[][]netip.Addr{addresses("127.0.0.2"), addresses("127.0.0.1")}, []bool{true, false, false}},
		"bound anew and back":                  {[][]netip.Addr{addresses("127.0.0.1"), addresses("127.0.0.2"), addresses("::1")}, []bool{false, true, false}},
		"two, the allowed one first":           {[][]netip.Addr{addresses("127.0.0.2", "127.0.0.1")}, []bool{true}},
		"two, the private one first":           {[][]netip.Addr{addresses("127.0.0.1", "127.0.0.2")}, []bool{true}},
		"IPv6 before":                          {[][]netip.Addr{addresses("::1", "127.0.0.2")}, []bool{true}},
		"many private ones and no other":       {[][]netip.Addr{addresses("10.1.2.3", "127.0.0.1", "127.0.0.3", "192.168.0.1", "::1", "fd00::1", "169.254.1.1")}, []bool{false}},
		"many private ones and an allowed one": {[][]netip.Addr{addresses("127.0.0.1", "127.0.0.3", "::1", "127.0.0.2")}, []bool{true}},
	} {
		t.Run(name, func(t *testing.T) {
			g := newGrounds(t)
			g.behave = func(w http.ResponseWriter, _ *http.Request) { w.Header().Set("Connection", "close") } // the next call looks the name up again
			g.names.list["hooks.corrow.example"] = c.lines
			caller := g.caller()
			for i, want := range c.reached {
				before := g.calls.Load()
				o := caller.Call(t.Context(), "http://hooks.corrow.example:"+g.port+"/", message())
				if got := g.calls.Load() > before; got != want || (o.Err == nil) != want {
					t.Errorf("call %d reached the receiver: %t, want %t: %+v", i, got, want, o)
				}
				if !want && !errors.Is(o.Err, ErrRefused) {
					t.Errorf("call %d: %v, want a refusal", i, o.Err)
				}
			}
			if n := g.trapped.Load(); n > 0 {
				t.Errorf("%d connections went to addresses that may not be called", n)
			}
		})
	}
}

// A receiver that may be called sends the caller on to one that may not.
func TestReceiversThatSendElsewhere(t *testing.T) {
	g := newGrounds(t)
	g.names.list["hooks.corrow.example"] = [][]netip.Addr{addresses("127.0.0.2")}
	caller := g.caller()
	for _, status := range []int{201, 300, 301, 302, 303, 305, 307, 308, 401, 407, 421, 426, 503} {
		for _, to := range []string{"http://127.0.0.1:%s/", "http://inside.example:%s/", "//127.0.0.1:%s/", "http://[::1]:%s/", "http://2130706433:%s/", "http://127.0.0.3:%s/"} {
			at := fmt.Sprintf(to, g.port)
			g.behave = func(w http.ResponseWriter, _ *http.Request) {
				h := w.Header()
				h.Set("Location", at)
				h.Set("Content-Location", at)
				h.Set("Refresh", "0; url="+at)
				h.Set("Alt-Svc", `h2="127.0.0.1:`+g.port+`"; ma=86400`)
				h.Set("Link", "<"+at+">; rel=preconnect")
				h.Set("WWW-Authenticate", `Basic realm="`+at+`"`)
				h.Set("Proxy-Authenticate", "Basic")
				w.WriteHeader(status)
			}
			before := g.calls.Load()
			o := caller.Call(t.Context(), "http://hooks.corrow.example:"+g.port+"/", message())
			if n := g.calls.Load() - before; n != 1 || o.Status != status {
				t.Errorf("%d to %s: %d calls, %+v", status, at, n, o)
			}
		}
	}
	if n := g.trapped.Load(); n > 0 {
		t.Errorf("%d connections went where a receiver sent the caller", n)
	}
}

// private is a random address that may not be called, of any of the blocks.
func private(random *rand.Rand) netip.Addr {
	within := func(p netip.Prefix) netip.Addr {
		b := p.Addr().AsSlice()
		for i := range b {
			keep := min(8, max(0, p.Bits()-8*i))
			mask := byte(0xff << (8 - keep))
			b[i] = b[i]&mask | byte(random.IntN(256))&^mask
		}
		a, _ := netip.AddrFromSlice(b)
		return a
	}
	four := within(special[random.IntN(len(special))])
	if random.IntN(3) == 0 { // mostly this machine, where the traps are
		four = netip.AddrFrom4([4]byte{127, 0, 0, []byte{1, 3}[random.IntN(2)]})
	}
	b := four.As4()
	switch random.IntN(8) {
	case 0:
		return netip.AddrFrom16([16]byte{10: 0xff, 11: 0xff, 12: b[0], 13: b[1], 14: b[2], 15: b[3]}) // ::ffff:a.b.c.d
	case 1:
		return netip.AddrFrom16([16]byte{1: 0x64, 2: 0xff, 3: 0x9b, 12: b[0], 13: b[1], 14: b[2], 15: b[3]})
	case 2:
		return netip.AddrFrom16([16]byte{0: 0x20, 1: 0x02, 2: b[0], 3: b[1], 4: b[2], 5: b[3]})
	case 3:
		return within([]netip.Prefix{netip.MustParsePrefix("fc00::/7"), netip.MustParsePrefix("fe80::/10"), netip.MustParsePrefix("ff00::/8"), netip.MustParsePrefix("::/96"), netip.MustParsePrefix("2001::/23"), netip.MustParsePrefix("2001:db8::/32"),
			netip.MustParsePrefix("3fff::/20"), netip.MustParsePrefix("fec0::/10"), netip.MustParsePrefix("4000::/2")}[random.IntN(9)])
	case 4:
		return netip.IPv6Loopback()
	}
	return four
}

// spelled writes an address as some resolver reads it.
func spelled(a netip.Addr, random *rand.Rand) string {
	if a.Is6() {
		s := a.String()
		switch random.IntN(4) {
		case 0:
			s = a.StringExpanded()
		case 1:
			s = strings.ToUpper(a.StringExpanded())
		case 2:
			s += "%25eth0"
		}
		return "[" + s + "]"
	}
	b := a.As4()
	whole := binary.BigEndian.Uint32(b[:])
	number := func(n uint32) string {
		switch random.IntN(5) {
		case 0:
			return fmt.Sprintf("0x%x", n)
		case 1:
			return fmt.Sprintf("0%o", n)
		case 2:
			return fmt.Sprintf("0X%0*X", 1+random.IntN(10), n)
		case 3:
			return fmt.Sprintf("%0*d", 1+random.IntN(4), n)
		}
		return fmt.Sprint(n)
	}
	var s string
	switch random.IntN(5) {
	case 0:
		s = number(whole)
	case 1:
		s = number(uint32(b[0])) + "." + number(whole&0xffffff)
	case 2:
		s = number(uint32(b[0])) + "." + number(uint32(b[1])) + "." + number(whole&0xffff)
	case 3:
		s = number(uint32(b[0])) + "." + number(uint32(b[1])) + "." + number(uint32(b[2])) + "." + number(uint32(b[3]))
	default:
		s = a.String()
	}
	switch random.IntN(8) {
	case 0:
		s += "."
	case 1: // wide digits, and dots of other scripts
		s = strings.Map(func(r rune) rune {
			if r >= '0' && r <= '9' {
				return r - '0' + '０'
			}
			return r
		}, s)
	case 2:
		s = strings.ReplaceAll(s, ".", "\u3002")
	case 3:
		i := random.IntN(len(s))
		s = s[:i] + fmt.Sprintf("%%%02x", s[i]) + s[i+1:]
	case 4:
		s = "[::ffff:" + a.String() + "]"
	}
	return s
}

// Addresses that may not be called, by every way of writing them and by names that lead
// there: none is kept as an endpoint, and no call opens a connection to one, also where
// it came to be kept all the same. With HATCHWRIGHT_WEBHOOK_PRIVATE, which allows every
// address, they are called. -forgeries 100000 is the long run.
func TestNoPrivateAddressIsCalled(t *testing.T) {
	g := newGrounds(t)
	random := rand.New(rand.NewPCG(*forgeriesSeed, 51))
	caller := g.caller()
	kept, refused, failed := 0, 0, 0
	for n := range *forgeries {
		a := private(random)
		if err := g.policy.CheckAddress(a); err == nil && a.Unmap() != netip.MustParseAddr("127.0.0.2") {
			t.Fatalf("forgery %d: %v may be called", n, a)
		}
		host := spelled(a, random)
		byName := random.IntN(2) == 0
		if byName {
			host = fmt.Sprintf("h%d.corrow.example", n)
			list := []netip.Addr{a}
			for range random.IntN(3) {
				list = append(list, private(random))
			}
			g.names.mu.Lock()
			g.names.list[host] = [][]netip.Addr{list}
			g.names.mu.Unlock()
		} else if a.Unmap() == netip.MustParseAddr("127.0.0.2") {
			continue // which is allowed
		}
		at := "http://" + host + ":" + g.port + "/hook"
		if err := g.policy.CheckURL(at); err == nil && !byName {
			kept++
			t.Errorf("forgery %d: %s, which is %v, is kept as an endpoint", n, at, a)
		}
		before := g.calls.Load()
		began := time.Now()
		o := caller.Call(t.Context(), at, message())
		switch {
		case o.Err == nil || o.Status != 0 || g.calls.Load() != before:
			t.Errorf("forgery %d: %s, which is %v, was called: %+v", n, at, a, o)
		case errors.Is(o.Err, ErrRefused):
			refused++
		case byName && !strings.Contains(o.Err.Error(), "could not be looked up"): // such as an address of neither kind of question
			t.Errorf("forgery %d: %s, which is %v: %v", n, at, a, o.Err)
		default:
			failed++
		}
		if took := time.Since(began); took > time.Second {
			t.Errorf("forgery %d: %s took %v, as if it had been tried", n, at, took)
		}
		if t.Failed() && n > 50 {
			break
		}
	}
	if n := g.trapped.Load(); n > 0 {
		t.Errorf("%d connections went to addresses that may not be called", n)
	}
	if refused < *forgeries/2 {
		t.Errorf("only %d of %d came to the check of the address", refused, *forgeries)
	}
	t.Logf("%d endpoints at private addresses, seed %d: %d refused at the connection, %d before, %d kept by their writing", *forgeries, *forgeriesSeed, refused, failed, kept)

	// The permission opens them: the traps hear of it.
	open := NewCaller(CallerOptions{Policy: Policy{Plain: true, Allow: []netip.Prefix{netip.MustParsePrefix("0.0.0.0/0"), netip.MustParsePrefix("::/0")}}, Agent: "test", Time: time.Second, Resolver: g.names.resolver()})
	defer open.Close()
	open.Call(t.Context(), "http://127.0.0.1:"+g.port+"/", message())
	open.Call(t.Context(), "http://inside.example:"+g.port+"/", message())
	if n := g.trapped.Load(); n < 2 {
		t.Errorf("with the permission %d of 2 calls went out: the traps hear nothing", n)
	}
}
