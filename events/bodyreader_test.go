package events_test

import (
	"bytes"
	"math"
	"reflect"
	"slices"
	"testing"

	"oldhand/events"

	"pgregory.net/rapid"
)

// quickKinds are those whose bodies are read by hand.
var quickKinds = []events.Kind{
	events.KindReceived, events.KindFaultFound, events.KindPartReplaced, events.KindReadingTaken,
	events.KindWaitingBegun, events.KindWaitingEnded, events.KindShipped,
}

// What we write of these kinds is read by hand, with every field, with the fewest, and
// with any: otherwise the library would read it, and nobody would see but the clock.
func TestWhatIsWrittenIsReadQuickly(t *testing.T) {
	quick := func(t rapid.TB, b events.Body) {
		t.Helper()
		got, ok := events.ReadQuickly(b.Kind(), encoded(b))
		if !ok || !reflect.DeepEqual(got, b) {
			t.Fatalf("%s: %+v, %v, want %+v", b.Kind(), got, ok, b)
		}
	}
	for _, k := range quickKinds {
		for _, x := range examples(k) {
			quick(t, x.draft.Body)
		}
	}
	for _, n := range []int64{math.MaxInt64, math.MinInt64, 1 << 62, -1 << 62, -1<<62 - 1, 23, -24, 24, -25} {
		part := events.PartReplaced{Component: "filter-capacitor", In: events.Marking{Sections: []events.Quantity{{Mant: n, Unit: "F"}}}}
		if err := part.Validate(); err != nil {
			t.Fatal(err)
		}
		quick(t, part)
	}
	rapid.Check(t, func(t *rapid.T) {
		if d := drawDraft(t); slices.Contains(quickKinds, d.Body.Kind()) {
			quick(t, d.Body)
		}
	})
}

// Reading by hand takes nothing that the library refuses, and reads nothing otherwise.
func FuzzReadQuickly(f *testing.F) {
	for _, k := range quickKinds {
		for _, x := range examples(k) {
			f.Add(uint16(k), []byte(encoded(x.draft.Body)))
		}
		for _, odd := range oddBodies {
			f.Add(uint16(k), odd)
		}
	}
	f.Fuzz(func(t *testing.T, kind uint16, raw []byte) {
		before := bytes.Clone(raw)
		got, ok := events.ReadQuickly(events.Kind(kind), raw)
		if !bytes.Equal(raw, before) {
			t.Fatal("reading changed the body")
		}
		if !ok {
			return
		}
		want, err := events.DecodeByLibrary(events.Kind(kind), raw)
		if err != nil || !reflect.DeepEqual(got, want) {
			t.Fatalf("%x is read as %+v, the library says %+v (%v)", raw, got, want, err)
		}
		clear(raw) // what was read shares no memory with it
		if !reflect.DeepEqual(got, want) {
			t.Fatalf("%x: what was read changed with the bytes", before)
		}
	})
}

// oddBodies are maps that the library reads or refuses by rules of its own.
var oddBodies = [][]byte{
	{0xa0},                         // nothing
	{0xa1, 0x01, 0x60},             // an empty text
	{0xa1, 0x01, 0xf6},             // null
	{0xa1, 0x01, 0x61, 0xff},       // no UTF-8
	{0xa1, 0x01, 0x41, 'a'},        // bytes for a text
	{0xa1, 0x18, 0x01, 0x61, 'a'},  // a key in a longer form
	{0xa1, 0x01, 0x78, 0x01, 'a'},  // a length in a longer form
	{0xa1, 0x18, 0x63, 0x61, 'a'},  // an unknown key
	{0xa1, 0x00, 0x61, 'a'},        // key nought
	{0xa1, 0x20, 0x61, 'a'},        // a negative key
	{0xa1, 0x61, '1', 0x61, 'a'},   // a text for a key
	{0xa2, 2, 0x61, 'b', 1, 0x60},  // keys that fall
	{0xa2, 1, 0x61, 'b', 1, 0x60},  // a key twice
	{0xa1, 0x03, 0xa1, 2, 0x80},    // an empty list
	{0xa1, 0x03, 0xa0},             // an empty part
	{0xa1, 4, 0xa1, 2, 0x18, 0x80}, // an exponent of 128
	{0xa1, 4, 0xa1, 2, 0x38, 0x7f}, // of -128
	{0xa1, 4, 0x20},                // a number below nought
	{0xa1, 4, 0x1b, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, // one of 64 bits
	{0xa1, 3, 0xa1, 9, 0x01}, // a part's unknown key
	{0xa1, 3, 0xa1, 2, 0x81, 0xa1, 1, 0x1b, 0x80, 0, 0, 0, 0, 0, 0, 0}, // one above 63 bits, of a part
	{0xa1, 3, 0xa1, 2, 0x81, 0xa1, 1, 0x3b, 0x80, 0, 0, 0, 0, 0, 0, 0}, // and below
	{0xa1, 12, 0x41, 1},         // an id of one byte
	{0xa1, 12, 0x40},            // of none
	{0xa1, 1, 0x61, 'a', 0},     // something behind it
	{0xbf, 1, 0x61, 'a', 0xff},  // a map without a length
	{0xa1, 1, 0x7f, 0x60, 0xff}, // a text without one
	{0xc0, 0xa1, 1, 0x61, 'a'},  // a tag
	{0xa1, 1, 0x7b, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, // a text without end
}

// BenchmarkDecodeBody reads bodies of the commonest kinds, and beside it has the library
// read the same.
func BenchmarkDecodeBody(b *testing.B) {
	for _, k := range []events.Kind{events.KindReceived, events.KindFaultFound, events.KindPartReplaced, events.KindReadingTaken} {
		raw := encoded(examples(k)[0].draft.Body)
		b.Run(k.String(), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_, _ = events.DecodeBody(k, 1, raw)
			}
		})
		b.Run(k.String()+"/library", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_, _ = events.DecodeByLibrary(k, raw)
			}
		})
	}
}
