package events_test

import (
	"bytes"
	"errors"
	"testing"

	"oldhand/events"

	"github.com/google/go-cmp/cmp"
)

// invented is a kind of a program that is not written yet.
const invented events.Kind = 90

// newerBody is {1: "x", 2: [1, {3: h'00'}], "word": null}: well-formed, and of
// no shape this program has.
var newerBody = events.RawBody("\xa3\x01\x61x\x02\x82\x01\xa1\x03\x41\x00\x64word\xf6")

func begunHead(t *testing.T) events.Head {
	t.Helper()
	first, err := events.Link(events.Head{Feed: feed}, example{"", eventID(0), draftOf(events.FeedBegun{Shop: shop})}.record())
	if err != nil {
		t.Fatal(err)
	}
	return first.Head()
}

func TestP11_F27_AnEventOfANewerProgramIsCarriedUnread(t *testing.T) {
	head := begunHead(t)
	for _, c := range []struct {
		kind    events.Kind
		version uint
		line    string
	}{
		{invented, 1, "kind.90: made by a newer version"},
		{invented, 7, "kind.90: made by a newer version"},
		{65535, 65535, "kind.65535: made by a newer version"},
		{events.KindNote, 2, "note: made by a newer version"},
	} {
		env := events.Envelope{ID: eventID(9), Kind: c.kind, Version: c.version, About: unit, Visit: visit, At: afternoon, By: "mara"}
		rec := must(events.EncodeRecord(env, newerBody))
		before := bytes.Clone(rec)
		e, err := events.Link(head, rec)
		if err != nil {
			t.Fatalf("%s: %v", c.line, err)
		}
		if d := cmp.Diff(env, e.Envelope); d != "" {
			t.Errorf("%s: envelope (-want +got):\n%s", c.line, d)
		}
		if _, err := e.Body(); !errors.Is(err, events.ErrUnread) {
			t.Errorf("%s: Body gives %v, want ErrUnread", c.line, err)
		}
		if e.Line() != c.line {
			t.Errorf("line %q, want %q", e.Line(), c.line)
		}
		if !bytes.Equal(e.Record, before) || !bytes.Equal(e.RawBody(), newerBody) {
			t.Errorf("%s: bytes are not those received", c.line)
		}
		if e.Hash != hashByHand(feed, 2, head.Hash, before) {
			t.Errorf("%s: hash is not over the bytes received", c.line)
		}
		again, err := events.Reread(head, e.Record, e.Hash)
		if err != nil || !bytes.Equal(again.Record, before) {
			t.Errorf("%s: reread gives %v", c.line, err)
		}
	}
}

// A newer program may add optional fields to a kind: an older one reads the
// rest and passes the record on as it was.
func TestP11_AFieldThatANewerProgramAddedIsSkippedAndKept(t *testing.T) {
	// {1: "x", 99: [true, "\xff" as bytes]}, keys in order (RFC 8949 4.2.1).
	raw := events.RawBody("\xa2\x01\x61x\x18\x63\x82\xf5\x41\xff")
	rec := must(events.EncodeRecord(events.Envelope{ID: eventID(9), Kind: events.KindNote, About: unit}, raw))
	before := bytes.Clone(rec)
	e, err := events.Link(begunHead(t), rec)
	if err != nil {
		t.Fatal(err)
	}
	b, err := e.Body()
	if err != nil || b != (events.Note{Text: "x"}) || e.Line() != "note: x" {
		t.Errorf("read %v %q, %v", b, e.Line(), err)
	}
	if !bytes.Equal(e.Record, before) {
		t.Error("the record was touched")
	}
}

func TestP11_AFieldAddedToEveryKindIsSkipped(t *testing.T) {
	for _, b := range leastBodies() {
		raw := encoded(b)
		if raw[0] >= 0xa0+23 {
			t.Fatalf("%s: more fields than this test counts", b.Kind())
		}
		raw[0]++ // one more pair in the map
		raw = append(raw, "\x18\x63\x65later"...)
		got, err := events.DecodeBody(b.Kind(), 1, raw)
		if err != nil {
			t.Errorf("%s: %v", b.Kind(), err)
			continue
		}
		if d := cmp.Diff(b, got); d != "" {
			t.Errorf("%s (-want +got):\n%s", b.Kind(), d)
		}
	}
}

func TestP11_ACorrectionMayHoldAFactOfAnUnknownKind(t *testing.T) {
	for _, c := range []struct {
		kind    events.Kind
		version uint
		line    string
	}{
		{invented, 1, "corrected to kind.90: made by a newer version"},
		{events.KindNote, 2, "corrected to note: made by a newer version"},
	} {
		b := events.Corrected{Replaces: []events.EventID{eventID(5)}, Fact: events.Fact{Kind: c.kind, Version: c.version, Body: newerBody}}
		if err := b.Validate(); err != nil {
			t.Fatal(err)
		}
		if b.Line() != c.line {
			t.Errorf("line %q, want %q", b.Line(), c.line)
		}
		got, err := events.DecodeBody(b.Kind(), 1, encoded(b))
		if err != nil {
			t.Fatal(err)
		}
		if d := cmp.Diff(events.Body(b), got); d != "" {
			t.Errorf("the fact inside was touched (-want +got):\n%s", d)
		}
	}
}

// What this program can't read it does not write either.
func TestADraftOfAnUnknownKindIsRefused(t *testing.T) {
	err := events.Draft{About: unit, Body: strangeBody{}}.Validate()
	if !errors.Is(err, events.ErrUnread) {
		t.Errorf("got %v, want ErrUnread", err)
	}
	if _, _, err := (events.Draft{About: unit, Body: strangeBody{}}).Make(eventID(1)); !errors.Is(err, events.ErrUnread) {
		t.Errorf("Make gives %v, want ErrUnread", err)
	}
}

type strangeBody struct{}

func (strangeBody) Kind() events.Kind { return invented }
func (strangeBody) Validate() error   { return nil }
func (strangeBody) Line() string      { return "strange" }

// The table of kinds and its look-ups say the same; numbers and names are
// given once.
func TestEveryKindIsFoundByItsNumberAndByItsName(t *testing.T) {
	for _, r := range events.Kinds {
		byNumber, ok1 := events.FindKind(r.Kind)
		byName, ok2 := events.KindNamed(r.Name)
		if !ok1 || !ok2 || byNumber.Name != r.Name || byName.Kind != r.Kind {
			t.Errorf("%d %s: found as %s and as %d", r.Kind, r.Name, byNumber.Name, byName.Kind)
		}
		if r.New().Kind() != r.Kind {
			t.Errorf("%s: an empty body is a %s", r.Name, r.New().Kind())
		}
	}
	for _, k := range []events.Kind{0, 5, invented, 127, 128, 65535} {
		if _, ok := events.FindKind(k); ok {
			t.Errorf("kind %d was found", k)
		}
	}
	for k := range events.Kind(200) {
		if k.Joins() != (k == events.KindSameUnit || k == events.KindNotSameUnit) {
			t.Errorf("%s joins units: %v", k, k.Joins())
		}
	}
	if _, ok := events.KindNamed("kind.90"); ok {
		t.Error("found a kind by the name of none")
	}
}
