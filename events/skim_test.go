package events_test

import (
	"bytes"
	"errors"
	"testing"

	"oldhand/events"
)

// Skim reads the same of each kept event as reading the whole of it does, and refuses
// what that refuses in the part it reads.
func TestSkimReadsWhatDecodingReads(t *testing.T) {
	for _, b := range leastBodies() {
		env := events.Envelope{ID: eventID(9), Kind: b.Kind(), Version: 300, At: afternoon, By: "mara"}
		if b.Kind() != events.KindShopFounded {
			env.About = unit
		}
		rec := must(events.EncodeRecord(env, encoded(b)))
		kind, about, err := events.Skim(rec)
		if err != nil || kind != env.Kind || about != env.About {
			t.Errorf("%s: skimmed as %s about %x (%v)", b.Kind(), kind, about, err)
		}
	}
	rec := must(events.EncodeRecord(events.Envelope{ID: eventID(9), Kind: events.KindNote, Version: 1, About: unit}, encoded(events.Note{Text: "x"})))
	const behindAbout = 1 + 17 + 2 + 1 + 17 // array, id, kind of two bytes, version, about (codec.go)
	for n := range len(rec) {
		if _, _, err := events.Skim(rec[:n]); (err == nil) != (n >= behindAbout) || err != nil && !errors.Is(err, events.ErrMalformed) {
			t.Errorf("of the first %d bytes: %v", n, err)
		}
	}
	for name, change := range map[string]func([]byte) []byte{
		"another array":       func(b []byte) []byte { b[0] = 0x87; return b },
		"a kind of zero":      func(b []byte) []byte { return append(append(b[:18:18], 0), b[20:]...) },
		"a long kind of zero": func(b []byte) []byte { b[19] = 0; return b },
		"an about of zeros":   func(b []byte) []byte { clear(b[behindAbout-16 : behindAbout]); return b },
		"a longer id":         func(b []byte) []byte { b[1] = 0x51; return b },
		"a kind as a string":  func(b []byte) []byte { b[18] = 0x61; return b },
	} {
		wrong := change(append([]byte(nil), rec...))
		_, _, skimmed := events.Skim(wrong)
		_, _, decoded := events.DecodeRecord(wrong)
		if !errors.Is(skimmed, events.ErrMalformed) || !errors.Is(decoded, events.ErrMalformed) {
			t.Errorf("%s: skimming gives %v, decoding %v", name, skimmed, decoded)
		}
	}
}

// The other unit of a join or a parting, and of nothing else.
func TestTheOtherUnitIsThatOfAJoinOrAParting(t *testing.T) {
	other := events.UnitID{0: 1, 15: 9}
	link := func(k events.Kind, body events.RawBody) events.Event {
		rec := must(events.EncodeRecord(events.Envelope{ID: eventID(9), Kind: k, Version: 1, About: unit}, body))
		return must(events.Link(begunHead(t), rec))
	}
	for _, c := range []struct {
		name string
		e    events.Event
		want events.UnitID
	}{
		{"a join", link(events.KindSameUnit, encoded(events.SameUnit{Other: other})), other},
		{"a parting", link(events.KindNotSameUnit, encoded(events.NotSameUnit{Other: other})), other},
		{"a join with nothing", link(events.KindSameUnit, events.RawBody("\xa0")), events.UnitID{}},
		{"a parting that can't be read", link(events.KindNotSameUnit, events.RawBody("\xa1\x01\x05")), events.UnitID{}},
		{"a note", link(events.KindNote, encoded(events.Note{Text: "x"})), events.UnitID{}},
	} {
		got, ok := c.e.OtherUnit()
		if got != c.want || ok != (c.want != events.UnitID{}) {
			t.Errorf("%s: %s (%v), want %s", c.name, got, ok, c.want)
		}
	}
}

// A number is written in as many bytes as it takes, 1b and eight of them from 2 to the
// 32 on (RFC 8949, section 3), also where no reader takes it.
func TestAVersionBeyondAllIsRefusedWhereItIsRead(t *testing.T) {
	rec := must(events.EncodeRecord(events.Envelope{ID: eventID(9), Kind: events.KindNote, Version: 1 << 32, About: unit}, encoded(events.Note{Text: "x"})))
	if !bytes.Contains(rec, []byte("\x18\x2d\x1b\x00\x00\x00\x01\x00\x00\x00\x00\x50")) {
		t.Errorf("the record is %x", rec)
	}
	_, _, skimmed := events.Skim(rec)
	if _, _, err := events.DecodeRecord(rec); !errors.Is(err, events.ErrMalformed) || !errors.Is(skimmed, events.ErrMalformed) {
		t.Errorf("reading gives %v, skimming %v", err, skimmed)
	}
}
