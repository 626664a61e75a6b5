package bundle_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/bundle"
	"oldhand/sync/seal"
	"oldhand/sync/segment"
)

const (
	epoch      = 3
	goldenSeed = 1 // founds the shop of the kept bundles
)

var key = segment.Key{4, 5, 6, 31: 7}

// keys knows the key of one epoch.
func keys(e uint32) (segment.Key, bool) { return key, e == epoch }

// parcel is what a test puts into a bundle: the segments of one bench's feed
// and how far the writer had that feed and another one.
type parcel struct {
	shop     eventstest.Shop
	evs      []events.Event
	segments [][]byte
	keys     [][]byte
	had      []bundle.Had
}

// pack makes a parcel of three segments of three events each, if no other
// number is wanted.
func pack(t testing.TB, seed uint64, segments int) parcel {
	t.Helper()
	shop := eventstest.FoundShop(t, seed)
	b := shop.Bench(t, 1)
	p := parcel{shop: shop}
	head := events.Head{Feed: events.FeedID{Bench: b.ID, Incarnation: events.Incarnation{9}}}
	for i := range 3 * segments {
		body, env := events.Body(events.Note{Text: fmt.Sprintf("hum %d", i)}), events.Envelope{Kind: events.KindNote, About: [16]byte{8}}
		if i == 0 {
			body, env = events.FeedBegun{Shop: shop.ID}, events.Envelope{Kind: events.KindFeedBegun}
		}
		env.ID = events.EventID{1, 15: byte(i + 1)}
		e, err := events.Link(head, record(t, env, body))
		if err != nil {
			t.Fatal(err)
		}
		p.evs, head = append(p.evs, e), e.Head()
	}
	random := eventstest.Seeded(7)
	for i := range segments {
		run := p.evs[3*i : 3*i+3]
		sealed, err := segment.Seal(shop.ID, epoch, key, run, signed(t, b, run[2].Head()), random)
		if err != nil {
			t.Fatal(err)
		}
		p.segments = append(p.segments, sealed)
	}
	if segments > 0 {
		p.had = append(p.had, had(signed(t, b, head)))
	}
	other := events.FeedID{Bench: shop.Bench(t, 2).ID, Incarnation: events.Incarnation{5}}
	p.had = append(p.had, bundle.Had{Head: events.Head{Feed: other, Seq: 12, Hash: events.Hash{3}}})
	return p
}

func record(t testing.TB, env events.Envelope, b events.Body) []byte {
	t.Helper()
	raw, err := events.EncodeBody(b)
	if err != nil {
		t.Fatal(err)
	}
	rec, err := events.EncodeRecord(env, raw)
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func signed(t testing.TB, b *eventstest.Bench, h events.Head) events.SignedHead {
	t.Helper()
	s, err := b.Key.SignHead(b.Shop.ID, h)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func had(s events.SignedHead) bundle.Had { return bundle.Had{Head: s.Head, Signature: s.Signature} }

func (p parcel) options() bundle.Options {
	return bundle.Options{Shop: p.shop.ID, Epoch: epoch, Key: key, Had: p.had, Keys: len(p.keys) > 0, Random: eventstest.Seeded(8)}
}

// bytes is the parcel as a bundle.
func (p parcel) bytes(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	w, err := bundle.NewWriter(&b, p.options())
	if err != nil {
		t.Fatal(err)
	}
	if err := p.fill(w); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func (p parcel) fill(w *bundle.Writer) error {
	for _, s := range p.segments {
		if err := w.Add(s); err != nil {
			return err
		}
	}
	for _, k := range p.keys {
		if err := w.AddKey(k); err != nil {
			return err
		}
	}
	return nil
}

// read reads a bundle and keeps what it gives.
func (p parcel) read(b []byte, keys bundle.Keys) (given [][]byte, rep bundle.Report, err error) {
	rep, err = bundle.Read(bytes.NewReader(b), p.shop.ID, keys, func(s []byte) error {
		given = append(given, bytes.Clone(s))
		return nil
	})
	return given, rep, err
}

// What follows lays a bundle out by hand, as doc.go draws it, so that tests can
// make files that the writer would not.

func sum(b []byte) []byte {
	return binary.BigEndian.AppendUint32(nil, crc32.Checksum(b, crc32.MakeTable(crc32.Castagnoli)))
}

func fileHead(shop events.ShopID) []byte {
	tag := segment.TagOf(shop)
	b := append([]byte("oldhbun\x01"), tag[:]...)
	return append(b, sum(b)...)
}

func frame(kind byte, number, length int, payload []byte) []byte {
	b := binary.BigEndian.AppendUint32([]byte{kind}, uint32(number))
	b = binary.BigEndian.AppendUint32(b, uint32(length))
	b = append(b, sum(b)...)
	return append(append(b, payload...), sum(payload)...)
}

func (p parcel) part(t testing.TB, part, parts int, plain []byte) []byte {
	t.Helper()
	tag := segment.TagOf(p.shop.ID)
	clear := append([]byte("oldhhds\x01"), tag[:]...)
	for _, n := range []int{epoch, part, parts} {
		clear = binary.BigEndian.AppendUint32(clear, uint32(n))
	}
	b, err := seal.Seal(key, clear, p.shop.ID[:], plain, eventstest.Seeded(8))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// list lays heads out behind the number of them that is claimed.
func list(claimed int, had ...bundle.Had) []byte {
	b := binary.BigEndian.AppendUint32(nil, uint32(claimed))
	for _, h := range had {
		b = append(append(b, h.Feed.Bench[:]...), h.Feed.Incarnation[:]...)
		b = append(binary.BigEndian.AppendUint64(b, h.Seq), h.Hash[:]...)
		if s, ok := h.Signed(); ok {
			b = append(append(b, 1), s.Signature[:]...)
		} else {
			b = append(b, 0)
		}
	}
	return b
}
