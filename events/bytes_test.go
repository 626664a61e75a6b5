package events_test

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"regexp"
	"strings"
	"testing"

	"oldhand/events"
)

// The bytes of this file were put together by hand from RFC 8949: section 3 for
// heads (three bits of major type, then the argument), section 4.2.1 for the
// shortest form and the order of keys. Diagnostic notation (section 8) stands
// behind each line. Keys, ids and hashes that are random to the encoding are
// put in by name.

// 2026-11-25 is day 20782 = 0x512e; 15:30:20 is second 55820 = 0xda0c; an hour
// east is 60 = 0x3c minutes. 14:30 UTC of that day is 1795617000000 ms =
// 0x01a2131d0a40, with which every example id begins.
const (
	firstOfAUnit = `
		88                                   ; [
		50 01a2131d0a40 00f1 f1f1f1f1f1f1f1f1 ;   h'...', the id
		01                                   ;   1, unit.received
		01                                   ;   1, the version
		50 01a2131d0a40 00f1 f1f1f1f1f1f1f1f1 ;   h'...', about the unit named by this id
		40                                   ;   h'', no visit
		83 20 1a00010b30 390149              ;   [-1, 68400, -330], 1969-12-31 19:00, 5:30 west
		62 "jo"                              ;   "jo"
		a2                                   ;   {
		01 67 "Tessaly"                      ;     1: "Tessaly",
		02 62 "R2"                           ;     2: "R2"}]`

	readingOfALevel = `
		88                                   ; [
		50 01a2131d0a40 002e 2e2e2e2e2e2e2e2e ;   h'...',
		18 1e                                ;   30, reading.taken
		01                                   ;   1,
		50 01a2131d0a40 0001 0101010101010101 ;   h'...', the unit
		50 01a2131d0a40 0001 0101010101010101 ;   h'...', the visit
		83 19512e 19da0c 183c                ;   [20782, 55820, 60]
		64 "mara"                            ;   "mara"
		a8                                   ;   {
		01 6b "tuner out L"                  ;     1: "tuner out L",
		02 6b "audio-level"                  ;     2: "audio-level",
		03 66 "310 mV"                       ;     3: "310 mV",
		04 a3 01 190136 02 22 03 61 "V"      ;     4: {1: 310, 2: -3, 3: "V"},
		05 67 "as left"                      ;     5: "as left",
		06 6d "bench meter 2"                ;     6: "bench meter 2",
		07 6d "250 to 350 mV"                ;     7: "250 to 350 mV",
		08 69 "AM, 1 kHz"                    ;     8: "AM, 1 kHz"}]`

	touchCurrent = `
		88                                   ; [
		50 01a2131d0a40 00f4 f4f4f4f4f4f4f4f4 ;   h'...',
		18 1e                                ;   30, reading.taken
		01                                   ;   1,
		50 01a2131d0a40 0001 0101010101010101 ;   h'...', the unit
		50 01a2131d0a40 0001 0101010101010101 ;   h'...', the visit
		80                                   ;   [], nobody said when
		60                                   ;   "",
		a8                                   ;   {
		01 6c "volume shaft"                 ;     1: "volume shaft",
		02 6d "touch-current"                ;     2: "touch-current",
		03 67 "0.31 mA"                      ;     3: "0.31 mA",
		04 a3 01 181f 02 24 03 61 "A"        ;     4: {1: 31, 2: -5, 3: "A"},
		07 6b "0.7 mA peak"                  ;     7: "0.7 mA peak",
		08 6e "plug both ways"               ;     8: "plug both ways",
		09 68 "iec60990"                     ;     9: "iec60990",
		0a 64 "peak"                         ;     10: "peak"}]`

	feedBegun = `
		88                                   ; [
		50 01a2131d0a40 0057 5757575757575757 ;   h'...',
		18 47                                ;   71, feed.begun
		01                                   ;   1,
		40                                   ;   h'', about the shop
		40                                   ;   h'', no visit
		83 19512e 19da0c 183c                ;   [20782, 55820, 60]
		64 "mara"                            ;   "mara"
		a3                                   ;   {
		01 50 SHOP                           ;     1: h'...',
		02 a3                                ;     2: {
		01 a2                                ;       1: {
		01 5820 BENCH                        ;         1: h'...', 32 bytes
		02 50 44444444444444444444444444444444 ;       2: h'...'},
		02 09                                ;       2: 9,
		03 5820 HASH                         ;       3: h'...'},
		03 6b "oldhand 0.1"                  ;     3: "oldhand 0.1"}]`
)

func TestRecordsAreTheBytesThatRFC8949Gives(t *testing.T) {
	for _, c := range []struct {
		kind    events.Kind
		example string
		want    string
	}{
		{events.KindReceived, "3-first-of-a-unit", firstOfAUnit},
		{events.KindReadingTaken, "1-full", readingOfALevel},
		{events.KindReadingTaken, "3-touch-current", touchCurrent},
		{events.KindFeedBegun, "1-full", feedBegun},
	} {
		want := byHand(t, c.want)
		kept := keptRecord(t, keptPath(c.kind.String(), c.example))
		if !bytes.Equal(kept, want) {
			t.Errorf("%s %s is kept as\n%x, by hand it is\n%x", c.kind, c.example, kept, want)
		}
		for _, e := range examples(c.kind) {
			if e.name == c.example && !bytes.Equal(e.record(), want) {
				t.Errorf("%s %s is written as\n%x, by hand it is\n%x", c.kind, c.example, e.record(), want)
			}
		}
	}
}

var quotedText = regexp.MustCompile(`"[^"]*"`)

// byHand reads hexadecimal digits, texts in quotes and the names of values
// that are random to the encoding.
func byHand(t *testing.T, s string) []byte {
	t.Helper()
	names := strings.NewReplacer("SHOP", hex.EncodeToString(shop[:]), "BENCH", hex.EncodeToString(feed.Bench[:]), "HASH", strings.Repeat("77", 32))
	var plain strings.Builder
	for line := range strings.Lines(s) {
		line, _, _ = strings.Cut(line, ";")
		plain.WriteString(quotedText.ReplaceAllStringFunc(names.Replace(line), func(q string) string {
			return hex.EncodeToString([]byte(strings.Trim(q, `"`)))
		}))
	}
	return unhex(t, plain.String())
}

// integers are examples of RFC 8949 appendix A.
var integers = []struct {
	n    int64
	want string
}{
	{0, "00"}, {1, "01"}, {10, "0a"}, {23, "17"}, {24, "1818"}, {25, "1819"}, {100, "1864"}, {1000, "1903e8"},
	{1000000, "1a000f4240"}, {-1, "20"}, {-10, "29"}, {-100, "3863"}, {-1000, "3903e7"},
}

func TestIntegersAreWrittenAsInAppendixAOfRFC8949(t *testing.T) {
	for _, c := range integers {
		raw, err := events.OnDay(events.Day(c.n)).MarshalCBOR()
		if err != nil {
			t.Fatal(err)
		}
		if got, want := hex.EncodeToString(raw), "81"+c.want; got != want { // an array of one
			t.Errorf("day %d is %s, want %s", c.n, got, want)
		}
		if c.n > 0 && c.n < 1<<16 {
			rec := must(events.EncodeRecord(events.Envelope{ID: eventID(1), Kind: events.Kind(c.n)}, events.RawBody{0xa0}))
			if got := hex.EncodeToString(rec[18 : 18+len(c.want)/2]); got != c.want {
				t.Errorf("kind %d is %s, want %s", c.n, got, c.want)
			}
		}
	}
}

// A day of the examples that a bench can have is also read from its bytes.
func TestIntegersAreReadAsInAppendixAOfRFC8949(t *testing.T) {
	for _, c := range integers {
		var w events.When
		err := w.UnmarshalCBOR(unhex(t, "81"+c.want))
		if c.n == 1000000 { // the year 4707
			if err == nil {
				t.Errorf("day %d was taken", c.n)
			}
		} else if err != nil || w != events.OnDay(events.Day(c.n)) {
			t.Errorf("%s is read as %v, %v; want day %d", c.want, w, err, c.n)
		}
	}
}

// Texts, the empty byte string and the empty array of RFC 8949 appendix A.
func TestTextsAreWrittenAsInAppendixAOfRFC8949(t *testing.T) {
	for text, want := range map[string]string{
		"": "60", "a": "6161", "IETF": "6449455446", "\"\\": "62225c", "\u00fc": "62c3bc", "\u6c34": "63e6b0b4",
	} {
		rec := must(events.EncodeRecord(events.Envelope{ID: eventID(1), Kind: 45, By: text}, events.RawBody{0xa0}))
		// Behind the id, kind 45 and version 1: no unit, no visit, no time, by.
		wantTail := "4040" + "80" + want + "a0"
		if got := fmt.Sprintf("%x", rec[21:]); got != wantTail {
			t.Errorf("by %q: %s, want %s", text, got, wantTail)
		}
	}
}

// RFC 8949 section 4.2.1: the same body has the same bytes, also where Go
// walks a map in any order, and keys of texts sort by their encoding, shorter
// first where the length stands in front.
func TestTheSameBodyHasTheSameBytes(t *testing.T) {
	b := full[events.RowImported]()
	b.Kept = map[string]string{"aa": "1", "b": "2", "\u00fc": "3", "Z": "4", "": "5"}
	want := unhex(t, "05 a5 60 6135 615a 6134 6162 6132 626161 6131 62c3bc 6133")
	for range 50 {
		if raw := encoded(b); !bytes.HasSuffix(raw, want) {
			t.Fatalf("%x does not end in %x", raw, want)
		}
	}
}
