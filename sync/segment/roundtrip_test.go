package segment_test

import (
	"bytes"
	"encoding/hex"
	"errors"
	"io"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/segment"

	"pgregory.net/rapid"
)

// checkOpened holds what was opened against the events that were sealed.
func checkOpened(t *rapid.T, o segment.Opened, p segment.Place, prev events.Hash, evs []events.Event, head events.SignedHead) {
	if o.Place != p || o.Prev != prev || o.Head != head || len(o.Records) != len(evs) {
		t.Fatalf("opened %v (%d records), sealed %v (%d)", o.Place, len(o.Records), p, len(evs))
	}
	linked, err := o.Link(events.Head{Feed: p.Feed, Seq: p.First - 1, Hash: prev})
	if err != nil || len(linked) != len(evs) {
		t.Fatalf("linked %d of %d: %v", len(linked), len(evs), err)
	}
	for i, e := range evs {
		if !bytes.Equal(o.Records[i], e.Record) || !bytes.Equal(linked[i].Record, e.Record) || linked[i].Hash != e.Hash {
			t.Fatalf("event %d came back as %x, was %x", e.Seq, o.Records[i], e.Record)
		}
	}
}

// A bench's log, sealed in any pieces, comes back event for event.
func TestEveryPieceOfALogComesBack_P4(t *testing.T) {
	l, b, _ := eventstest.OnMem(t, 1)
	for range 20 {
		unit := eventstest.SaveVisit(t, l)
		eventstest.SaveNotes(t, l, unit, "measured again after an hour", 5)
	}
	evs := eventstest.All(t, l)
	rapid.Check(t, func(t *rapid.T) {
		first := rapid.IntRange(1, len(evs)).Draw(t, "first")
		last := rapid.IntRange(first, len(evs)).Draw(t, "last")
		e := rapid.Uint32().Draw(t, "epoch")
		run := evs[first-1 : last]
		head, err := b.Key.SignHead(b.Shop.ID, run[len(run)-1].Head())
		if err != nil {
			t.Fatal(err)
		}
		sealed, err := segment.Seal(b.Shop.ID, e, key, run, head, eventstest.Seeded(rapid.Uint64().Draw(t, "random")))
		if err != nil {
			t.Fatal(err)
		}
		p := segment.Place{Shop: segment.TagOf(b.Shop.ID), Feed: head.Feed, First: uint64(first), Last: uint64(last), Epoch: e}
		if got, err := segment.ReadPlace(sealed); err != nil || got != p {
			t.Fatalf("place %v, %v, want %v", got, err, p)
		}
		o, err := segment.Open(sealed, b.Shop.ID, func(x uint32) (segment.Key, bool) { return key, x == e })
		if err != nil {
			t.Fatal(err)
		}
		var prev events.Hash
		if first > 1 {
			prev = evs[first-2].Hash
		}
		checkOpened(t, o, p, prev, run, head)
	})
}

// Bodies of kinds and versions that nobody knows yet travel byte for byte.
func TestUnknownKindsAreCarriedByteForByte_P11_F27(t *testing.T) {
	shop := eventstest.FoundShop(t, 2)
	start := begin(t, shop, 1)
	rapid.Check(t, func(t *rapid.T) {
		l := start.fork(1)
		for range rapid.IntRange(1, 20).Draw(t, "events") {
			l.add(t, drawEnvelope(t), drawBody(t))
		}
		o := l.open(t, 1, len(l.evs))
		checkOpened(t, o, l.place(1, len(l.evs)), events.Hash{}, l.evs, l.signed(t, len(l.evs)))
		linked, _ := o.Link(l.at(0)) // checkOpened linked it
		for _, e := range linked[1:] {
			if _, err := e.Body(); !errors.Is(err, events.ErrUnread) {
				t.Fatalf("%s is read: %v", e.Kind, err)
			}
		}
	})
}

func drawEnvelope(t *rapid.T) events.Envelope {
	return events.Envelope{Kind: events.Kind(rapid.IntRange(200, 65535).Draw(t, "kind")),
		Version: uint(rapid.IntRange(1, 65535).Draw(t, "version")), About: [16]byte{1}, By: rapid.StringMatching(`[a-z]{0,8}`).Draw(t, "by")}
}

// drawBody draws a map of one byte string (RFC 8949): {1: h'..'}.
func drawBody(t *rapid.T) events.RawBody {
	n := rapid.OneOf(rapid.IntRange(0, 23), rapid.IntRange(256, 60_000)).Draw(t, "length")
	b := make([]byte, n)
	if _, err := io.ReadFull(eventstest.Seeded(rapid.Uint64().Draw(t, "bytes")), b); err != nil {
		t.Fatal(err)
	}
	head := []byte{0xa1, 0x01, 0x40 | byte(n)}
	if n > 23 {
		head = []byte{0xa1, 0x01, 0x59, byte(n >> 8), byte(n)}
	}
	return append(head, b...)
}

const tagByHand = "feb10003944fd407397a76dec6f4f9ea"

// The same bytes as doc.go draws, laid out by hand, open.
func TestALayoutMadeByHandOpens(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum at 100 Hz", 5)
	p := l.place(3, 6)
	b := sealByHand(t, key, l.bench.Shop.ID, p, plainByHand(l.evs[1].Hash, l.signed(t, 6), l.records(3, 6)...))
	o, err := segment.Open(b, l.bench.Shop.ID, keys)
	if err != nil {
		t.Fatal(err)
	}
	evs, err := o.Link(l.at(2))
	if err != nil || len(evs) != 4 || evs[3].Hash != l.evs[5].Hash {
		t.Errorf("%d events, %v", len(evs), err)
	}
	if made := l.seal(t, 3, 6); !bytes.Equal(made[:segment.HeaderSize], headerByHand(p)) {
		t.Errorf("sealed behind\n%x, by hand\n%x", made[:segment.HeaderSize], headerByHand(p))
	}
}

// The tag by another hand: printf 'oldhand shop tag 1\0' and sixteen bytes 1,
// through coreutils' sha256sum.
func TestTheTagIsTheStartOfAHash(t *testing.T) {
	var shop events.ShopID
	for i := range shop {
		shop[i] = 1
	}
	tag := segment.TagOf(shop)
	if got := hex.EncodeToString(tag[:]); got != tagByHand {
		t.Errorf("tag %s, want %s", got, tagByHand)
	}
	if s := tag.String(); len(s) != 26 || s != strings.ToLower(s) {
		t.Errorf("tag is written %q", s)
	}
}

func TestNothingOfAnEventStandsInASegmentInClear(t *testing.T) {
	const canary = "CANARY-7b1e"
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, canary, 3)
	last := l.evs[3]
	plain := plainByHand(events.Hash{}, l.signed(t, 4), l.records(1, 4)...)
	b := l.seal(t, 1, 4)
	for name, secret := range map[string][]byte{"a text": []byte(canary), "the shop's id": l.bench.Shop.ID[:],
		"an event's id": last.ID[:], "a record": last.Record, "the last hash": last.Hash[:], "a hash": l.evs[2].Hash[:]} {
		if bytes.Contains(b, secret) {
			t.Errorf("%s stands in the segment", name)
		}
		if name != "a hash" && name != "the shop's id" && !bytes.Contains(plain, secret) {
			t.Errorf("%s does not stand in what is sealed: the test looks for the wrong bytes", name)
		}
	}
}

// Equal events sealed twice do not show as equal.
func TestAnEventSealedTwiceLooksDifferent(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1)
	r := eventstest.Seeded(5)
	var sealed [2][]byte
	for i := range sealed {
		b, err := segment.Seal(l.bench.Shop.ID, epoch, key, l.evs, l.signed(t, 1), r)
		if err != nil {
			t.Fatal(err)
		}
		sealed[i] = b[segment.HeaderSize:]
	}
	if bytes.Equal(sealed[0][:24], sealed[1][:24]) || bytes.Equal(sealed[0][24:64], sealed[1][24:64]) {
		t.Error("two seals share their nonce or begin alike")
	}
}

func TestSealRefusesWhatOpenWouldRefuse(t *testing.T) {
	shop := eventstest.FoundShop(t, 1)
	l := begin(t, shop, 1).notes(t, "cold solder", 6)
	other := begin(t, shop, 2)
	branch := l.fork(3).notes(t, "another life", 4)
	unlinked, err := events.Trusted(l.feed, 2, l.evs[1].Record, l.evs[1].Hash)
	if err != nil {
		t.Fatal(err)
	}
	long := l.fork(1)
	for range 10 {
		long.add(t, events.Envelope{Kind: 300}, append(events.RawBody{0xa1, 0x01, 0x59, 0xea, 0x60}, make([]byte, 60_000)...))
	}
	run := func(evs ...events.Event) []events.Event { return evs }
	for _, c := range []struct {
		name string
		evs  []events.Event
		head events.SignedHead
		want error
	}{
		{"no events", nil, l.signed(t, 1), segment.ErrMalformed},
		{"an event that was not linked", run(unlinked), l.signed(t, 2), events.ErrLink},
		{"a hole", run(l.evs[1], l.evs[3]), l.signed(t, 4), events.ErrLink},
		{"an event twice", run(l.evs[1], l.evs[1]), l.signed(t, 2), events.ErrLink},
		{"two feeds", run(l.evs[0], other.evs[0]), other.signed(t, 1), events.ErrLink},
		{"two branches", run(l.evs[3], branch.evs[4]), branch.signed(t, 5), events.ErrLink},
		{"a head before the last event", l.evs[:4], l.signed(t, 3), events.ErrLink},
		{"a head after the last event", l.evs[:4], l.signed(t, 5), events.ErrLink},
		{"a head of another branch", l.evs[:5], branch.signed(t, 5), events.ErrLink},
		{"a head that another bench signed", l.evs[:4], events.SignedHead{Head: l.at(4), Signature: other.signed(t, 1).Signature}, events.ErrSignature},
		{"more than fits", long.evs, long.signed(t, 11), segment.ErrTooLarge},
	} {
		t.Run(c.name, func(t *testing.T) {
			if b, err := segment.Seal(shop.ID, epoch, key, c.evs, c.head, eventstest.Seeded(1)); !errors.Is(err, c.want) || b != nil {
				t.Errorf("got %d bytes, %v, want %v", len(b), err, c.want)
			}
		})
	}
	t.Run("another shop's head", func(t *testing.T) {
		if _, err := segment.Seal(eventstest.FoundShop(t, 9).ID, epoch, key, l.evs[:4], l.signed(t, 4), eventstest.Seeded(1)); !errors.Is(err, events.ErrSignature) {
			t.Errorf("got %v, want ErrSignature", err)
		}
	})
	t.Run("no randomness", func(t *testing.T) {
		if _, err := segment.Seal(shop.ID, epoch, key, l.evs[:4], l.signed(t, 4), strings.NewReader("")); !errors.Is(err, io.EOF) {
			t.Errorf("got %v, want EOF", err)
		}
	})
}
