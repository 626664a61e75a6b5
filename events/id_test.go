package events_test

import (
	"bytes"
	"encoding/base32"
	"slices"
	"strings"
	"testing"
	"time"

	"oldhand/events"
	"oldhand/events/hlc"

	"pgregory.net/rapid"
)

// The layout of the ULID specification: ten characters of time, sixteen of
// randomness, Crockford's base 32. Its examples: 1469918176385 ms is
// "01ARYZ6S41" (from memory of the specification's page), and the greatest
// ULID is "7ZZZZZZZZZZZZZZZZZZZZZZZZZ".
func TestAnEventIDReadsAsAULID(t *testing.T) {
	id := events.NewEventID(hlc.Join(1469918176385, 0), [8]byte{})
	if got := id.String(); got != "01ARYZ6S41"+"0000000000000000" {
		t.Errorf("got %s", got)
	}
	ones := [8]byte{255, 255, 255, 255, 255, 255, 255, 255}
	if got := events.NewEventID(hlc.Join(1<<48-1, 1<<16-1), ones).String(); got != "7ZZZZZZZZZZZZZZZZZZZZZZZZZ" {
		t.Errorf("greatest id is %s", got)
	}
	if got := (events.EventID{}).String(); got != "00000000000000000000000000" {
		t.Errorf("zero id is %s", got)
	}
}

// An id of 16 bytes is 26 characters of 5 bits with two zero bits in front.
// Here Go's base 32 writes them with Crockford's letters.
func TestAnEventIDsTextIsItsBytesInCrockfordsBase32(t *testing.T) {
	crockford := base32.NewEncoding("0123456789ABCDEFGHJKMNPQRSTVWXYZ").WithPadding(base32.NoPadding)
	rapid.Check(t, func(t *rapid.T) {
		id := drawEventID(t, "id")
		shifted := make([]byte, 20) // 160 bits: 30 zeros, 128 of the id, 2 left over
		for bit := range 128 {
			if id[bit/8]>>(7-bit%8)&1 == 1 {
				at := bit + 32
				shifted[at/8] |= 1 << (7 - at%8)
			}
		}
		// 160 bits are 32 characters; those of the id are the last 130 bits.
		if want := crockford.EncodeToString(shifted)[6:]; id.String() != want {
			t.Fatalf("%x is %s, want %s", id[:], id, want)
		}
	})
}

func TestAnEventIDGivesItsStampBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := hlc.Join(rapid.Uint64Max(1<<48-1).Draw(t, "ms"), rapid.Uint16().Draw(t, "counter"))
		if got := events.NewEventID(s, [8]byte{7, 7}).Stamp(); got != s {
			t.Fatalf("stamp %d came back as %d", s, got)
		}
	})
}

// One order for stamps, for ids as bytes and for ids as text, whatever the
// random part: recorded later sorts later.
func TestIDsSortAsTheirStamps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		stamp := rapid.Custom(func(t *rapid.T) hlc.Stamp {
			return hlc.Join(rapid.Uint64Max(3).Draw(t, "ms")<<rapid.IntRange(0, 46).Draw(t, "shift"), rapid.Uint16().Draw(t, "counter"))
		})
		a, b := stamp.Draw(t, "a"), stamp.Draw(t, "b")
		if a == b {
			return
		}
		random := rapid.SliceOfN(rapid.Byte(), 8, 8)
		x := events.NewEventID(a, [8]byte(random.Draw(t, "x")))
		y := events.NewEventID(b, [8]byte(random.Draw(t, "y")))
		want := -1
		if a > b {
			want = 1
		}
		if x.Compare(y) != want || y.Compare(x) != -want || events.UnitID(x).Compare(events.UnitID(y)) != want || strings.Compare(x.String(), y.String()) != want {
			t.Fatalf("%s and %s do not sort as %d and %d", x, y, a, b)
		}
	})
}

func TestIDsComeBackFromTheirText(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		id := drawEventID(t, "id")
		text := must(id.MarshalText())
		var event events.EventID
		var unit events.UnitID
		if err := event.UnmarshalText(bytes.ToLower(text)); err != nil || event != id {
			t.Fatalf("%s came back as %s, %v", text, event, err)
		}
		if err := unit.UnmarshalText(must(events.UnitID(id).MarshalText())); err != nil || unit != events.UnitID(id) {
			t.Fatalf("unit %s came back as %s, %v", text, unit, err)
		}
		half := [16]byte(id)
		if got, err := events.ParseShopID(events.ShopID(half).String()); err != nil || got != half {
			t.Fatalf("shop came back as %s, %v", got, err)
		}
		if got, err := events.ParsePersonID(events.PersonID(half).String()); err != nil || got != half {
			t.Fatalf("person came back as %s, %v", got, err)
		}
		f := events.FeedID{Incarnation: half}
		copy(f.Bench[:], rapid.SliceOfN(rapid.Byte(), 32, 32).Draw(t, "bench"))
		var back events.FeedID
		if err := back.UnmarshalText(must(f.MarshalText())); err != nil || back != f {
			t.Fatalf("feed %s came back as %s, %v", f, back, err)
		}
	})
}

func TestWhatIsNoIDIsRefusedByName(t *testing.T) {
	for _, s := range []string{"", "01ARZ3NDEKTSV4RRFFQ69G5FA", "01ARZ3NDEKTSV4RRFFQ69G5FAVX", "01ARZ3NDEKTSV4RRFFQ69G5FAU", "80000000000000000000000000", "01ARZ3NDEKTSV4RRFFQ69G5F\u00c4"} {
		var id events.EventID
		if err := id.UnmarshalText([]byte(s)); err == nil || !id.IsZero() || !strings.HasPrefix(err.Error(), "event id \""+s) {
			t.Errorf("%q read as event id %s, %v", s, id, err)
		}
	}
	short, long := strings.Repeat("a", 24), strings.Repeat("a", 28)
	for _, s := range []string{"", "x", short, long, strings.ToUpper(person.String()), person.String() + "="} {
		if id, err := events.ParsePersonID(s); err == nil || !id.IsZero() || !strings.Contains(err.Error(), "person \""+s+"\"") {
			t.Errorf("%q read as person %s, %v", s, id, err)
		}
		if id, err := events.ParseShopID(s); err == nil || id != (events.ShopID{}) || !strings.Contains(err.Error(), "shop \""+s+"\"") {
			t.Errorf("%q read as shop %s, %v", s, id, err)
		}
	}
	bench, run := feed.Bench.String(), feed.Incarnation.String()
	for _, s := range []string{"", bench, bench + run, bench + "-", "-" + run, run + "-" + bench, bench + "-" + run + "-" + run} {
		var f events.FeedID
		if err := f.UnmarshalText([]byte(s)); err == nil || !strings.Contains(err.Error(), "feed \""+s+"\"") {
			t.Errorf("%q read as feed %s, %v", s, f, err)
		}
	}
}

// Names of files on every system: RFC 4648 base 32 in lower case, no padding.
func TestNamesOfFeedsAreFitForFiles(t *testing.T) {
	want := strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(feed.Bench[:]))
	if feed.Bench.String() != want {
		t.Errorf("bench %s, by RFC 4648 %s", feed.Bench, want)
	}
	if strings.Trim(feed.String(), "abcdefghijklmnopqrstuvwxyz234567-") != "" || len(feed.String()) != 52+1+26 {
		t.Errorf("feed is named %s", feed)
	}
	if feed.Short() != feed.Bench.String()[:6]+"-"+feed.Incarnation.String()[:6] {
		t.Errorf("feed is %s in short", feed.Short())
	}
	if h := events.Hash(fill(0xab)); h.String() != strings.Repeat("ab", 32) || h.Short() != "abababab" {
		t.Errorf("hash is %s, in short %s", h, h.Short())
	}
}

func TestFeedsSortByBenchThenByRun(t *testing.T) {
	at := func(bench, run byte) events.FeedID {
		return events.FeedID{Bench: fill(bench), Incarnation: half(run)}
	}
	sorted := []events.FeedID{at(1, 1), at(1, 9), at(2, 0), at(2, 1)}
	mixed := []events.FeedID{sorted[3], sorted[1], sorted[0], sorted[2]}
	slices.SortFunc(mixed, events.FeedID.Compare)
	if !slices.Equal(mixed, sorted) {
		t.Errorf("sorted as %v", mixed)
	}
	if sorted[0].Compare(sorted[0]) != 0 {
		t.Error("a feed differs from itself")
	}
}

func TestTheTimeInAnIDIsWhenItWasRecorded(t *testing.T) {
	want := time.Date(2026, 11, 25, 14, 30, 0, 0, time.UTC)
	if got := eventID(3).Stamp().Time(); !got.Equal(want) {
		t.Errorf("got %s, want %s", got, want)
	}
	if !(events.VisitID{}).IsZero() || visit.IsZero() || !(events.UnitID{}).IsZero() || unit.IsZero() {
		t.Error("IsZero tells an id from none the wrong way round")
	}
}
