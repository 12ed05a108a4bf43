package webhook

import (
	"errors"
	"fmt"
	"net/netip"
	"net/url"
	"strings"
	"unicode"
)

// ErrRefused matches every address that may not be called.
var ErrRefused = errors.New("address refused")

// Policy says which addresses may be called besides public ones over HTTPS.
type Policy struct {
	Allow []netip.Prefix // called although they are not public
	Plain bool           // http:// is good enough
}

// special are the blocks of IPv4 that are not for global use (IANA IPv4
// Special-Purpose Address Registry; RFC 6890), with multicast and the reserved
// rest. Cloud metadata (169.254.169.254) is link-local.
var special = prefixes(
	"0.0.0.0/8",        // this network
	"10.0.0.0/8",       // private
	"100.64.0.0/10",    // carrier-grade NAT
	"127.0.0.0/8",      // loopback
	"169.254.0.0/16",   // link-local
	"172.16.0.0/12",    // private
	"192.0.0.0/24",     // protocol assignments
	"192.0.2.0/24",     // documentation
	"192.88.99.0/24",   // 6to4 relays, deprecated
	"192.168.0.0/16",   // private
	"198.18.0.0/15",    // benchmarking
	"198.51.100.0/24",  // documentation
	"203.0.113.0/24",   // documentation
	"224.0.0.0/4",      // multicast
	"240.0.0.0/4",      // reserved, and broadcast
	"168.63.129.16/32", // a cloud's own host service, which looks public
)

// global is the one block of IPv6 that is given out for global use (RFC 4291,
// 2.5.4); everything outside it is refused, and so are the blocks in it below.
var global = netip.MustParsePrefix("2000::/3")

var special6 = prefixes(
	"2001::/23",     // protocol assignments, Teredo among them
	"2001:db8::/32", // documentation
	"3fff::/20",     // documentation
)

// The blocks of IPv6 that carry an IPv4 address, which decides.
var (
	sixToFour   = netip.MustParsePrefix("2002::/16")    // RFC 3056: bits 16 to 47
	translation = netip.MustParsePrefix("64:ff9b::/96") // RFC 6052: the last 32 bits
)

func prefixes(list ...string) (out []netip.Prefix) {
	for _, s := range list {
		out = append(out, netip.MustParsePrefix(s))
	}
	return out
}

// CheckAddress says whether an address may be called. The error matches
// ErrRefused.
func (p Policy) CheckAddress(a netip.Addr) error {
	a = a.Unmap().WithZone("")
	for _, allowed := range p.Allow {
		if allowed.Contains(a) {
			return nil
		}
	}
	if !public(a) {
		return fmt.Errorf("%w: %v is not a public address", ErrRefused, a)
	}
	return nil
}

func public(a netip.Addr) bool {
	switch {
	case !a.IsValid():
		return false
	case a.Is4():
		return !within(special, a)
	case translation.Contains(a):
		b := a.As16()
		return public(netip.AddrFrom4([4]byte(b[12:16])))
	case sixToFour.Contains(a):
		b := a.As16()
		return public(netip.AddrFrom4([4]byte(b[2:6])))
	}
	return global.Contains(a) && !within(special6, a)
}

func within(list []netip.Prefix, a netip.Addr) bool {
	for _, p := range list {
		if p.Contains(a) {
			return true
		}
	}
	return false
}

// longestURL bounds an endpoint's address, bytes.
const longestURL = 1000

// CheckURL says whether an endpoint may be kept. It looks nothing up: names are
// judged when they are called. The error says what to mend.
func (p Policy) CheckURL(text string) error {
	if len(text) > longestURL {
		return fmt.Errorf("%w: the address is longer than %d bytes", ErrRefused, longestURL)
	}
	u, err := url.Parse(text)
	switch {
	case err != nil:
		return fmt.Errorf("%w: it is no URL", ErrRefused)
	case u.Scheme != "https" && (u.Scheme != "http" || !p.Plain):
		return fmt.Errorf("%w: it has to begin with https://", ErrRefused)
	case u.Hostname() == "" || u.Opaque != "":
		return fmt.Errorf("%w: it names no host", ErrRefused)
	case u.User != nil:
		return fmt.Errorf("%w: it holds a user or a password; the signature tells the receiver who calls", ErrRefused)
	case u.Fragment != "":
		return fmt.Errorf("%w: it has a fragment, which is never sent", ErrRefused)
	}
	host := strings.TrimSuffix(strings.ToLower(u.Hostname()), ".")
	if a, err := netip.ParseAddr(host); err == nil {
		return p.CheckAddress(a)
	}
	if host == "localhost" || strings.HasSuffix(host, ".localhost") {
		return p.CheckAddress(netip.IPv6Loopback()) // RFC 6761: always loopback
	}
	if numeric(host) {
		return fmt.Errorf("%w: its host is a number, but no address as it is commonly written; write IPv4 as four decimal numbers without zeros before them, such as 1.1.1.1, IPv6 in brackets, or give a name", ErrRefused)
	}
	return nil
}

// numeric says whether some resolver would read a host as an IPv4 address: the last
// of its labels is a decimal, octal or hexadecimal number, in digits of any script.
// No name ends in one (URL Standard, section 3.5, "ends in a number").
func numeric(host string) bool {
	labels := strings.FieldsFunc(host, func(r rune) bool { return strings.ContainsRune(".\u3002\uff0e\uff61", r) }) // dots of names, RFC 3490, section 3.1
	if len(labels) == 0 {
		return false
	}
	last := strings.ToLower(strings.Map(func(r rune) rune {
		if r >= '！' && r <= '～' { // the wide forms of ASCII, U+FF01 to U+FF5E
			r -= '！' - '!'
		}
		return r
	}, labels[len(labels)-1]))
	if hex, ok := strings.CutPrefix(last, "0x"); ok {
		return strings.Trim(hex, "0123456789abcdef") == ""
	}
	return strings.TrimFunc(last, unicode.IsDigit) == ""
}
