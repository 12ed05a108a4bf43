package store

import (
	"encoding/base64"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"pgregory.net/rapid"
)

func aPosition() Position {
	return Position{
		CreatedAt: time.UnixMilli(1_790_000_000_123).UTC(),
		ID:        uuid.MustParse("01900000-0000-7000-8000-000000000001"),
	}
}

// Every position comes back from its own place.
func TestCursorRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var id uuid.UUID
		copy(id[:], rapid.SliceOfN(rapid.Byte(), 16, 16).Draw(t, "id"))
		want := Position{
			CreatedAt: time.UnixMilli(rapid.Int64Range(0, lastMilli).Draw(t, "millis")).UTC(),
			ID:        id,
		}
		place := newPlace("things", ShopScope(), rapid.String().Draw(t, "filter"))
		text := EncodeCursor(place, want)
		got, err := DecodeCursor(place, text)
		if err != nil || got != want {
			t.Fatalf("%q: got %v, %v; want %v", text, got, err, want)
		}
		if strings.Trim(text, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_") != "" {
			t.Fatalf("%q has characters outside base64url (RFC 4648 section 5)", text)
		}
	})
}

// Any change of one character, and any other place, is refused as a CursorError.
func TestCursorRefused(t *testing.T) {
	place := newPlace("things", ShopScope(), "a", "b")
	good := EncodeCursor(place, aPosition())
	refused := func(place Place, text string) {
		t.Helper()
		_, err := DecodeCursor(place, text)
		var typed *CursorError
		if !errors.Is(err, ErrCursor) || !errors.As(err, &typed) {
			t.Errorf("DecodeCursor(%q) = %v, want a *CursorError", text, err)
		}
	}
	const alphabet = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"
	for i := range len(good) {
		for j := range len(alphabet) {
			if changed := good[:i] + alphabet[j:j+1] + good[i+1:]; changed != good {
				refused(place, changed)
			}
		}
		refused(place, good[:i])
		refused(place, good[:i]+"\n"+good[i+1:])
		refused(place, good[:i]+"\n"+good[i:])
	}
	refused(place, good+"A")
	refused(place, good+"=")
	refused(newPlace("others", ShopScope(), "a", "b"), good)
	refused(newPlace("things", HouseScope(), "a", "b"), good)
	refused(newPlace("things", DealerScope(uuid.Max), "a", "b"), good)
	refused(newPlace("things", ShopScope(), "ab", ""), good)
	refused(newPlace("things", ShopScope(), "a", "b", ""), good)

	late := aPosition()
	late.CreatedAt = time.UnixMilli(lastMilli + 1)
	refused(place, EncodeCursor(place, late))
}

func TestFilterPlacesDiffer(t *testing.T) {
	dealer := uuid.MustParse("01900000-0000-7000-8000-000000000001")
	at := time.UnixMilli(1_790_000_000_000)
	places := map[string]Place{
		"dealers":  DealerPlace(ShopScope()),
		"profile":  ShopDocumentPlace("profile"),
		"keys":     KeyFilter{}.Place(ShopScope()),
		"keys by":  KeyFilter{DealerID: &dealer}.Place(ShopScope()),
		"role":     KeyFilter{Role: "shop"}.Place(ShopScope()),
		"all":      ConfigurationFilter{}.Place(ShopScope()),
		"dealer":   ConfigurationFilter{}.Place(DealerScope(dealer)),
		"by":       ConfigurationFilter{DealerID: &dealer}.Place(ShopScope()),
		"pattern":  ConfigurationFilter{Pattern: "x"}.Place(ShopScope()),
		"verdict":  ConfigurationFilter{Verdict: "x"}.Place(ShopScope()),
		"digest":   ConfigurationFilter{Digest: "x"}.Place(ShopScope()),
		"ref":      ConfigurationFilter{Reference: "x"}.Place(ShopScope()),
		"from":     ConfigurationFilter{CreatedFrom: at}.Place(ShopScope()),
		"before":   ConfigurationFilter{CreatedBefore: at}.Place(ShopScope()),
		"from + 1": ConfigurationFilter{CreatedFrom: at.Add(time.Millisecond)}.Place(ShopScope()),
	}
	for a, pa := range places {
		for b, pb := range places {
			if _, err := DecodeCursor(pb, EncodeCursor(pa, aPosition())); (err == nil) != (a == b) {
				t.Errorf("a cursor of %q given to %q: %v", a, b, err)
			}
		}
	}
}

func TestVersionPosition(t *testing.T) {
	for _, v := range []int{0, 1, 7, 1 << 20, 1 << 40} {
		place := ShopDocumentPlace("profile")
		p, err := DecodeCursor(place, EncodeCursor(place, VersionPosition(v)))
		if err != nil || p.Version() != v {
			t.Errorf("version %d came back as %d, %v", v, p.Version(), err)
		}
	}
}

func TestScope(t *testing.T) {
	a, b := uuid.MustParse("01900000-0000-7000-8000-00000000000a"), uuid.MustParse("01900000-0000-7000-8000-00000000000b")
	for _, c := range []struct {
		scope             Scope
		text              string
		own, ofA, ofB, of bool
	}{
		{Scope{}, "nothing", false, false, false, false},
		{DealerScope(uuid.Nil), "nothing", false, false, false, false},
		{ShopScope(), "shop", true, true, true, true},
		{HouseScope(), "house", true, false, false, false},
		{DealerScope(a), a.String(), false, true, false, false},
		{DealerScope(b), b.String(), false, false, true, false},
	} {
		if c.scope.Covers(nil) != c.own || c.scope.Covers(&a) != c.ofA || c.scope.Covers(&b) != c.ofB || c.scope.Whole() != c.of || c.scope.String() != c.text {
			t.Errorf("%+v covers own %v, A %v, B %v, whole %v, text %q", c.scope, c.scope.Covers(nil), c.scope.Covers(&a), c.scope.Covers(&b), c.scope.Whole(), c.scope)
		}
	}
}

func TestCutPage(t *testing.T) {
	place := newPlace("numbers", ShopScope())
	at := VersionPosition
	for _, c := range []struct{ rows, limit, items, next int }{
		{0, 3, 0, -1}, {2, 3, 2, -1}, {3, 3, 3, -1}, {4, 3, 3, 2},
		{51, 0, 50, 49}, {201, 999, 200, 199}, {2, -5, 1, 0},
	} {
		rows := make([]int, c.rows)
		for i := range rows {
			rows[i] = i
		}
		got := Cut(rows, Page{Limit: c.limit}, place, at)
		next := -1
		if got.NextCursor != "" {
			p, _, err := Page{Cursor: got.NextCursor}.After(place)
			if err != nil {
				t.Fatal(err)
			}
			next = p.Version()
		}
		if len(got.Items) != c.items || next != c.next {
			t.Errorf("%d rows at limit %d: %d items, next after %d; want %d and %d", c.rows, c.limit, len(got.Items), next, c.items, c.next)
		}
	}
}

// No text makes the decoder panic; what it takes, it writes back the same.
func FuzzDecodeCursor(f *testing.F) {
	place := newPlace("things", ShopScope(), "x")
	good := EncodeCursor(place, aPosition())
	f.Add(good)
	f.Add("")
	f.Add(good[:len(good)-1])
	f.Add(strings.Repeat("A", len(good)))
	f.Add(strings.Repeat("\n", len(good)))
	f.Add(EncodeCursor(newPlace("things", HouseScope(), "x"), aPosition()))
	f.Add(base64.StdEncoding.EncodeToString([]byte(`{"id":1}`)))
	f.Fuzz(func(t *testing.T, text string) {
		p, err := DecodeCursor(place, text)
		if err != nil {
			if !errors.Is(err, ErrCursor) {
				t.Fatalf("%q: %v does not match ErrCursor", text, err)
			}
			return
		}
		if again := EncodeCursor(place, p); again != text {
			t.Fatalf("%q decodes to %v, which is written %q", text, p, again)
		}
	})
}

func ExampleDecodeCursor() {
	place := ConfigurationFilter{Pattern: "flush-ledge"}.Place(ShopScope())
	text := EncodeCursor(place, Position{
		CreatedAt: time.Date(2027, 3, 1, 12, 0, 0, 0, time.UTC),
		ID:        uuid.MustParse("0195519c-1a00-7000-8000-000000000001"),
	})
	at, err := DecodeCursor(place, text)
	fmt.Println(at.CreatedAt, err)
	_, err = DecodeCursor(ConfigurationFilter{}.Place(ShopScope()), text)
	fmt.Println(err)
	// Output:
	// 2027-03-01 12:00:00 +0000 UTC <nil>
	// invalid cursor for the list of configurations: it was changed, or belongs to another list or filter; start again without a cursor
}
