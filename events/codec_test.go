package events_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"oldhand/events"
)

// pieces is a record taken apart, in hexadecimal digits, so that a test can
// put one wrong piece into a good record.
type pieces struct{ array, id, kind, version, about, visit, at, by, body string }

var (
	id16  = strings.Repeat("07", 16)
	good  = pieces{"88", "50" + id16, "182d", "01", "50" + id16, "40", "81 19512e", "63 6d6172", "a1 01 61 78"}
	zeros = strings.Repeat("00", 16)
)

func (p pieces) record(t testing.TB) []byte {
	t.Helper()
	return unhex(t, p.array+p.id+p.kind+p.version+p.about+p.visit+p.at+p.by+p.body)
}

func TestTheGoodRecordOfTheseTestsIsGood(t *testing.T) {
	e, err := events.Link(begunHead(t), good.record(t))
	if err != nil || e.Line() != "note: x" || e.By != "mar" || e.At.String() != "2026-11-25" {
		t.Errorf("%v, %v", e, err)
	}
}

// An event has one encoding. RFC 8949 sections 4.2.1 (shortest heads, definite
// lengths) and 3 (reserved values) say what a second one would look like.
func TestARecordsHeadHasOneForm(t *testing.T) {
	for name, set := range map[string]func(*pieces){
		"array of seven":                  func(p *pieces) { p.array = "87" },
		"array of nine":                   func(p *pieces) { p.array = "89" },
		"array with a long head":          func(p *pieces) { p.array = "9808" },
		"array of indefinite length":      func(p *pieces) { p.array = "9f" },
		"a map of eight":                  func(p *pieces) { p.array = "a8" },
		"a tag in front":                  func(p *pieces) { p.array = "c188" },
		"id of 15 bytes":                  func(p *pieces) { p.id = "4f" + id16[:30] },
		"id of 17 bytes":                  func(p *pieces) { p.id = "51" + id16 + "07" },
		"no id":                           func(p *pieces) { p.id = "40" },
		"id of zeros":                     func(p *pieces) { p.id = "50" + zeros },
		"id with a long head":             func(p *pieces) { p.id = "5810" + id16 },
		"id as text":                      func(p *pieces) { p.id = "70" + id16 },
		"id in parts":                     func(p *pieces) { p.id = "5f50" + id16 + "ff" },
		"kind zero":                       func(p *pieces) { p.kind = "00" },
		"small kind in two bytes":         func(p *pieces) { p.kind = "1817" },
		"kind in three bytes":             func(p *pieces) { p.kind = "19002d" },
		"kind in five bytes":              func(p *pieces) { p.kind = "1a0000002d" },
		"kind in nine bytes":              func(p *pieces) { p.kind = "1b000000000000002d" },
		"kind 65536":                      func(p *pieces) { p.kind = "1a00010000" },
		"kind 2 to the 63":                func(p *pieces) { p.kind = "1b8000000000000000" },
		"negative kind":                   func(p *pieces) { p.kind = "382c" },
		"kind with a reserved head":       func(p *pieces) { p.kind = "1c" },
		"kind as a float":                 func(p *pieces) { p.kind = "f95140" },
		"version zero":                    func(p *pieces) { p.version = "00" },
		"version with a long head":        func(p *pieces) { p.version = "1801" },
		"version 65536":                   func(p *pieces) { p.version = "1a00010000" },
		"about of 15 bytes":               func(p *pieces) { p.about = "4f" + id16[:30] },
		"about of zeros":                  func(p *pieces) { p.about = "50" + zeros },
		"about with a long head":          func(p *pieces) { p.about = "5810" + id16 },
		"no about, with a long head":      func(p *pieces) { p.about = "5800" },
		"about null":                      func(p *pieces) { p.about = "f6" },
		"visit of zeros":                  func(p *pieces) { p.visit = "50" + zeros },
		"visit of one byte":               func(p *pieces) { p.visit = "4107" },
		"time of two numbers":             func(p *pieces) { p.at = "82 19512e 00" },
		"time of four numbers":            func(p *pieces) { p.at = "84 19512e 00 00 00" },
		"time with a long head":           func(p *pieces) { p.at = "9801 19512e" },
		"time of indefinite length":       func(p *pieces) { p.at = "9f 19512e ff" },
		"no time, in long form":           func(p *pieces) { p.at = "9800" },
		"time as text":                    func(p *pieces) { p.at = "6a 323032362d31312d3235" },
		"day with a long head":            func(p *pieces) { p.at = "81 1a0000512e" },
		"day as text":                     func(p *pieces) { p.at = "81 6131" },
		"negative day with a long head":   func(p *pieces) { p.at = "81 3800" },
		"day before 1850":                 func(p *pieces) { p.at = "81 39ffff" },
		"day after 2500":                  func(p *pieces) { p.at = "81 1a000f4240" },
		"day 2 to the 30 and one":         func(p *pieces) { p.at = "81 1a40000001" },
		"day 2 to the 32":                 func(p *pieces) { p.at = "81 1b0000000100000000" },
		"the most negative day":           func(p *pieces) { p.at = "81 3bffffffffffffffff" },
		"second 86400":                    func(p *pieces) { p.at = "83 19512e 1a00015180 00" },
		"second minus one":                func(p *pieces) { p.at = "83 19512e 20 00" },
		"offset of a day":                 func(p *pieces) { p.at = "83 19512e 00 1905a0" },
		"offset that wraps in 16 bits":    func(p *pieces) { p.at = "83 19512e 00 1a00010000" },
		"by with a long head":             func(p *pieces) { p.by = "7803 6d6172" },
		"by as bytes":                     func(p *pieces) { p.by = "43 6d6172" },
		"by in parts":                     func(p *pieces) { p.by = "7f 63 6d6172 ff" },
		"by in Latin-1":                   func(p *pieces) { p.by = "64 636166e9" },
		"by with half a letter":           func(p *pieces) { p.by = "61 c3" },
		"by of 201 bytes":                 func(p *pieces) { p.by = "78c9" + strings.Repeat("77", 201) },
		"by longer than the record":       func(p *pieces) { p.by, p.body = "78c8 7777", "" },
		"by longer than any record":       func(p *pieces) { p.by, p.body = "7bffffffffffffffff 77", "" },
		"by of indefinite length, no end": func(p *pieces) { p.by, p.body = "7f", "" },
	} {
		p := good
		set(&p)
		if e, _, err := events.DecodeRecord(p.record(t)); !errors.Is(err, events.ErrMalformed) {
			t.Errorf("%s: got %v, want ErrMalformed; read as %+v", name, err, e)
		}
	}
}

// What follows the head is one map, well-formed to its end, of whatever kind
// (RFC 8949 section 5.3.1), and none of the forms that make two encodings.
func TestABodyIsOneWellFormedMap(t *testing.T) {
	deep := func(n int) string { return strings.Repeat("a101", n) + "00" }
	for name, body := range map[string]string{
		"nothing":                      "",
		"null":                         "f6",
		"a number":                     "00",
		"an array":                     "80",
		"a text":                       "6178",
		"a map cut off":                "a101",
		"a map with a text cut off":    "a1016278",
		"a byte behind the map":        "a1016178 00",
		"a map behind the map":         "a0 a0",
		"a map of indefinite length":   "bf01 6178 ff",
		"a text in parts":              "a101 7f 6178 ff",
		"a tag inside":                 "a101 c1 00",
		"a tagged map":                 "c1 a0",
		"a reserved head":              "a101 1c",
		"a break":                      "a101 ff",
		"a simple value in two bytes":  "a101 f800",
		"a length that ends the world": "bbffffffffffffffff",
		"a list that ends the world":   "a101 9bffffffffffffffff",
		"a map nine deep":              deep(9),
	} {
		for _, kind := range []string{"182d", "185a"} { // a note; kind 90, which is unknown
			p := good
			p.kind, p.body = kind, body
			if _, err := events.Link(begunHead(t), p.record(t)); !errors.Is(err, events.ErrMalformed) {
				t.Errorf("%s, kind %s: got %v, want ErrMalformed", name, kind, err)
			}
		}
	}
	p := good
	p.kind, p.body = "185a", deep(8)
	if _, err := events.Link(begunHead(t), p.record(t)); err != nil {
		t.Errorf("eight deep: %v", err)
	}
}

// A body that is well-formed and yet not of its kind is carried like any other
// and says what is wrong with it; it is never half read.
func TestABodyThatDoesNotFitItsKindIsNotRead(t *testing.T) {
	for name, body := range map[string]string{
		"the same key twice":            "a2 01 6178 01 6179",
		"a later key twice":             "a3 01 6178 18 63 00 18 63 00",
		"a number where a text belongs": "a1 01 05",
		"a float where a text belongs":  "a1 01 f93c00",
		"bytes where a text belongs":    "a1 01 4178",
		"a text in Latin-1":             "a1 01 64 636166e9",
	} {
		p := good
		p.body = body
		e, err := events.Link(begunHead(t), p.record(t))
		if err != nil {
			t.Errorf("%s: not carried: %v", name, err)
			continue
		}
		if b, err := e.Body(); !errors.Is(err, events.ErrMalformed) || b != nil {
			t.Errorf("%s: read %v, %v; want ErrMalformed", name, b, err)
		}
		if !strings.HasPrefix(e.Line(), "note: not an event") {
			t.Errorf("%s: line %q", name, e.Line())
		}
	}
	for name, c := range map[string]struct {
		kind events.Kind
		body string
	}{
		"a hash as text":                 {events.KindEvidenceAttached, "a1 01 6178"},
		"an exponent past eight bits":    {events.KindReadingTaken, "a1 04 a1 02 1901f4"},
		"an amount past 63 bits":         {events.KindEstimateGiven, "a1 01 1bffffffffffffffff"},
		"an amount as a float":           {events.KindEstimateGiven, "a1 01 f93e00"},
		"a time with a long head":        {events.KindInstrumentRecorded, "a1 05 81 1800"},
		"a time of two numbers":          {events.KindInstrumentRecorded, "a1 05 82 00 00"},
		"a second that no clock shows":   {events.KindInstrumentRecorded, "a1 05 83 00 1a00015180 00"},
		"a list where one entry belongs": {events.KindSameUnit, "a1 02 81 6178"},
	} {
		if b, err := events.DecodeBody(c.kind, 1, unhex(t, c.body)); !errors.Is(err, events.ErrMalformed) {
			t.Errorf("%s: read %+v, %v; want ErrMalformed", name, b, err)
		}
	}
}

// However a record is cut off, nothing is read of it (F18).
func TestF18_ARecordCutOffAnywhereIsRefused(t *testing.T) {
	head := begunHead(t)
	for _, path := range keptRecords(t) {
		rec := keptRecord(t, path)
		if bytes.Contains([]byte(path), []byte("feed.begun")) {
			continue
		}
		for n := range rec {
			if _, err := events.Link(head, rec[:n:n]); err == nil {
				t.Fatalf("%s cut off after %d of %d bytes was taken", path, n, len(rec))
			}
		}
		if _, err := events.Link(head, rec); err != nil {
			t.Errorf("%s whole: %v", path, err)
		}
	}
}

// F24: the limit is 64 KiB, the same for who writes and who reads.
func TestF24_ARecordOverItsLimitIsNeitherWrittenNorRead(t *testing.T) {
	env := events.Envelope{ID: eventID(1), Kind: invented, Version: 1, About: unit, Visit: visit, At: afternoon, By: "mara"}
	body := func(n int) events.RawBody { // {1: bytes of n-6}
		return append(events.RawBody{0xa1, 0x01, 0x5a, 0, byte((n - 7) >> 8), byte(n - 7)}, make([]byte, n-6)...)
	}
	head := len(must(events.EncodeRecord(env, nil)))
	room := events.MaxRecord - head
	rec, err := events.EncodeRecord(env, body(room))
	if err != nil || len(rec) != 65536 {
		t.Fatalf("a record of exactly the limit: %d bytes, %v", len(rec), err)
	}
	if _, _, err := events.DecodeRecord(rec); err != nil {
		t.Errorf("a record of exactly the limit is not read: %v", err)
	}
	_, err = events.EncodeRecord(env, body(room+1))
	if want := "kind.90: record of 65537 bytes, at most 65536: too large"; !errors.Is(err, events.ErrTooLarge) || err.Error() != want {
		t.Errorf("one byte more: got %v, want %q", err, want)
	}
	_, _, err = events.DecodeRecord(append(rec, 0))
	if want := "record of 65537 bytes, at most 65536: too large"; !errors.Is(err, events.ErrTooLarge) || err.Error() != want {
		t.Errorf("one byte more: read with %v, want %q", err, want)
	}
}

func TestAMessageSaysWhichEventOfWhichFeedWasRefused(t *testing.T) {
	head := begunHead(t)
	_, err := events.Link(head, []byte{0x80})
	want := fmt.Sprintf("feed %s at 2: record: head: not an event", feed.Short())
	if err == nil || err.Error() != want {
		t.Errorf("got %v, want %q", err, want)
	}
}
