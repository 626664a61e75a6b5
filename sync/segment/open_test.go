package segment_test

import (
	"bytes"
	"errors"
	"math"
	"runtime"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
	"oldhand/sync/segment"
)

// known are all errors that a bad segment may give.
var known = []error{segment.ErrMalformed, segment.ErrTooLarge, segment.ErrNewer, segment.ErrOtherShop, segment.ErrNoKey, segment.ErrSeal,
	events.ErrMalformed, events.ErrTooLarge, events.ErrLink, events.ErrSignature}

func isKnown(err error) bool {
	for _, k := range known {
		if errors.Is(err, k) {
			return true
		}
	}
	return false
}

// refused checks that a segment is refused for one reason and gives nothing.
func refused(t *testing.T, b []byte, shop events.ShopID, want error) {
	t.Helper()
	o, err := segment.Open(b, shop, keys)
	if !errors.Is(err, want) {
		t.Errorf("got %v, want %v", err, want)
	}
	if o.Records != nil || o.Place != (segment.Place{}) || o.Head != (events.SignedHead{}) || o.Prev != (events.Hash{}) {
		t.Errorf("refused, and gives %v with %d records", o.Place, len(o.Records))
	}
	if evs, err := o.Link(events.Head{}); err == nil {
		t.Errorf("refused, and links %d events", len(evs))
	}
}

// One subtest for each clause of what is in clear.
func TestOpenRefusesWhatIsWrongInClear_P10(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", 3)
	shop := l.bench.Shop.ID
	whole := l.seal(t, 2, 4)
	changed := func(at int, c ...byte) []byte {
		b := bytes.Clone(whole)
		copy(b[at:], c)
		return b
	}
	placed := func(set func(*segment.Place)) []byte {
		p := l.place(2, 4)
		set(&p)
		return append(headerByHand(p), whole[segment.HeaderSize:]...)
	}
	for _, c := range []struct {
		name string
		b    []byte
		want error
	}{
		{"nothing", nil, segment.ErrMalformed},
		{"the magic alone", whole[:7], segment.ErrMalformed},
		{"a byte over the limit", make([]byte, segment.MaxSealed+1), segment.ErrTooLarge},
		{"another file", changed(0, 'P', 'K', 3, 4), segment.ErrMalformed},
		{"version 0", changed(7, 0), segment.ErrMalformed},
		{"version 2", changed(7, 2), segment.ErrNewer},
		{"version 255 of another size", append(changed(7, 255), 1), segment.ErrNewer},
		{"no size a segment has", append(bytes.Clone(whole), 0), segment.ErrMalformed},
		{"another size that a segment has", append(bytes.Clone(whole), make([]byte, 256)...), segment.ErrSeal},
		{"another shop's tag", placed(func(p *segment.Place) { p.Shop[0] ^= 1 }), segment.ErrOtherShop},
		{"events from 0", placed(func(p *segment.Place) { p.First = 0 }), segment.ErrMalformed},
		{"events backwards", placed(func(p *segment.Place) { p.First = 5 }), segment.ErrMalformed},
		{"too many events", placed(func(p *segment.Place) { p.Last = p.First + segment.MaxEvents }), segment.ErrTooLarge},
		{"all numbers there are", placed(func(p *segment.Place) { p.First, p.Last = 1, math.MaxUint64 }), segment.ErrTooLarge},
		{"an unknown epoch", placed(func(p *segment.Place) { p.Epoch++ }), segment.ErrNoKey},
		{"another bench", placed(func(p *segment.Place) { p.Feed.Bench[0] ^= 1 }), segment.ErrSeal},
		{"another run", placed(func(p *segment.Place) { p.Feed.Incarnation[0] ^= 1 }), segment.ErrSeal},
		{"another first event", placed(func(p *segment.Place) { p.First++ }), segment.ErrSeal},
		{"another last event", placed(func(p *segment.Place) { p.Last++ }), segment.ErrSeal},
	} {
		t.Run(c.name, func(t *testing.T) { refused(t, c.b, shop, c.want) })
	}
	t.Run("as it was", func(t *testing.T) {
		if _, err := segment.Open(placed(func(*segment.Place) {}), shop, keys); err != nil {
			t.Error(err)
		}
	})
}

// One subtest for each clause of what is inside. Each segment has a right
// seal: whoever made it has the shop's key (F25).
func TestOpenRefusesWhatIsWrongInside_P10_F25(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", 5)
	branch := l.fork(3).notes(t, "another life", 3)
	other := begin(t, l.bench.Shop, 2)
	foreign := begin(t, eventstest.FoundShop(t, 9), 1)
	shop, prev, head := l.bench.Shop.ID, l.evs[0].Hash, l.signed(t, 4)
	recs := l.records(2, 4)
	with := func(i int, rec []byte) [][]byte {
		all := append([][]byte{}, recs...)
		all[i] = rec
		return all
	}
	plain := func(records ...[]byte) []byte { return plainByHand(prev, head, records...) }
	good := plain(recs...)
	flipped := bytes.Clone(recs[1])
	flipped[len(flipped)-1] ^= 1
	long := append([]byte{}, plain(recs[:2]...)...)
	for _, c := range []struct {
		name  string
		plain []byte
		want  error
	}{
		{"nothing", []byte{0}, segment.ErrMalformed},
		{"no records", plain(), segment.ErrMalformed},
		{"a record too few", plain(recs[:2]...), segment.ErrMalformed},
		{"a record too many", plain(append(recs, l.evs[4].Record)...), segment.ErrMalformed},
		{"a byte behind the records", append(bytes.Clone(good), 0), segment.ErrMalformed},
		{"a record cut short", good[:len(good)-1], segment.ErrMalformed},
		{"the last length cut short", append(long, 0, 0, 0), segment.ErrMalformed},
		{"an empty record", plain(with(2, nil)...), segment.ErrMalformed},
		{"a record over its limit", plain(with(2, make([]byte, events.MaxRecord+1))...), segment.ErrTooLarge},
		{"a length beyond everything", append(bytes.Clone(long), 0xff, 0xff, 0xff, 0xff), segment.ErrTooLarge},
		{"a record that is none", plain(with(2, []byte("not CBOR"))...), events.ErrMalformed},
		{"a feed begun anew", plain(with(2, l.evs[0].Record)...), events.ErrLink},
		{"a changed record", plain(with(1, flipped)...), events.ErrLink},
		{"records out of order", plain(recs[1], recs[0], recs[2]), events.ErrLink},
		{"another hash before", plainByHand(branch.evs[4].Hash, head, recs...), events.ErrLink},
		{"a head of one event less", plainByHand(prev, l.signed(t, 3), recs...), events.ErrLink},
		{"a head of one event more", plainByHand(prev, l.signed(t, 5), recs...), events.ErrLink},
		{"a head of another branch", plainByHand(prev, branch.signed(t, 5), recs...), events.ErrLink},
		{"a signature for one event more", plainByHand(prev, events.SignedHead{Head: l.at(4), Signature: l.signed(t, 5).Signature}, recs...), events.ErrSignature},
		{"another bench's signature", plainByHand(prev, events.SignedHead{Head: l.at(4), Signature: other.signed(t, 1).Signature}, recs...), events.ErrSignature},
		{"no signature", plainByHand(prev, events.SignedHead{Head: l.at(4)}, recs...), events.ErrSignature},
	} {
		t.Run(c.name, func(t *testing.T) {
			refused(t, sealByHand(t, key, shop, l.place(2, 4), c.plain), shop, c.want)
		})
	}
	t.Run("as it was", func(t *testing.T) {
		if _, err := segment.Open(sealByHand(t, key, shop, l.place(2, 4), good), shop, keys); err != nil {
			t.Error(err)
		}
	})
	t.Run("a hash before event 1", func(t *testing.T) {
		first := plainByHand(prev, l.signed(t, 1), l.records(1, 1)...)
		refused(t, sealByHand(t, key, shop, l.place(1, 1), first), shop, events.ErrLink)
	})
	t.Run("a chain begun on a hash before event 1, and signed", func(t *testing.T) {
		h := events.Head{Feed: l.feed, Seq: 1, Hash: events.HashEvent(l.feed, 1, prev, l.evs[0].Record)}
		s, err := l.bench.Key.SignHead(shop, h)
		if err != nil {
			t.Fatal(err)
		}
		refused(t, sealByHand(t, key, shop, l.place(1, 1), plainByHand(prev, s, l.evs[0].Record)), shop, events.ErrLink)
	})
	t.Run("a head signed for another shop", func(t *testing.T) {
		in := plainByHand(events.Hash{}, foreign.signed(t, 1), foreign.records(1, 1)...)
		p := foreign.place(1, 1)
		p.Shop = segment.TagOf(shop)
		refused(t, sealByHand(t, key, shop, p, in), shop, events.ErrSignature)
	})
	t.Run("more inside than the limit", func(t *testing.T) {
		refused(t, sealByHand(t, key, shop, l.place(2, 4), make([]byte, 10<<20)), shop, segment.ErrTooLarge)
	})
}

// A few kilobytes under a right seal that unpack to ten megabytes take none.
func TestABombUnderARightSealTakesLittleMemory_P14_F25(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1)
	bomb := sealByHand(t, key, l.bench.Shop.ID, l.place(1, 1), make([]byte, 10<<20))
	refused(t, bomb, l.bench.Shop.ID, segment.ErrTooLarge)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	refused(t, bomb, l.bench.Shop.ID, segment.ErrTooLarge)
	runtime.ReadMemStats(&after)
	if n := after.TotalAlloc - before.TotalAlloc; n > 1<<20 {
		t.Errorf("refusing %d bytes took %d", len(bomb), n)
	}
}

func TestAnotherShopsSegmentIsRefusedUnread_F26(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", 3)
	asked := false
	_, err := segment.Open(l.seal(t, 1, 4), eventstest.FoundShop(t, 9).ID, func(uint32) (segment.Key, bool) {
		asked = true
		return key, true
	})
	if !errors.Is(err, segment.ErrOtherShop) || asked {
		t.Errorf("got %v (asked for a key: %v), want ErrOtherShop", err, asked)
	}
	if strings.Contains(err.Error(), l.feed.Short()) {
		t.Errorf("%q names another shop's feed", err)
	}
	// A tag alone does not make it ours: the seal has the shop's id in it.
	p := l.place(1, 4)
	p.Shop = segment.TagOf(eventstest.FoundShop(t, 9).ID)
	b := append(headerByHand(p), l.seal(t, 1, 4)[segment.HeaderSize:]...)
	refused(t, b, eventstest.FoundShop(t, 9).ID, segment.ErrSeal)
}

func TestTheKeyAskedForIsTheEpochs(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1)
	b := l.seal(t, 1, 1)
	var asked []uint32
	_, err := segment.Open(b, l.bench.Shop.ID, func(e uint32) (segment.Key, bool) {
		asked = append(asked, e)
		return segment.Key{}, false
	})
	if !errors.Is(err, segment.ErrNoKey) || !strings.Contains(err.Error(), "epoch 3") || len(asked) != 1 || asked[0] != epoch {
		t.Errorf("got %v, asked for %v", err, asked)
	}
	_, err = segment.Open(b, l.bench.Shop.ID, func(uint32) (segment.Key, bool) { return segment.Key{1}, true })
	if !errors.Is(err, segment.ErrSeal) {
		t.Errorf("with another key: got %v, want ErrSeal", err)
	}
}

// Every way to cut a segment short and every single wrong bit.
func TestNoDamagedSegmentOpens_P10_F18(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", 2)
	whole, shop := l.seal(t, 1, 3), l.bench.Shop.ID
	try := func(b []byte) {
		t.Helper()
		kept := bytes.Clone(b)
		o, err := segment.Open(b, shop, keys)
		if !isKnown(err) || o.Records != nil {
			t.Fatalf("gives %d records, %v", len(o.Records), err)
		}
		if p, err := segment.ReadPlace(b); err != nil && (!isKnown(err) || p != (segment.Place{})) {
			t.Fatalf("place %v, %v", p, err)
		}
		if !bytes.Equal(b, kept) {
			t.Fatal("opening changed the bytes")
		}
	}
	for n := range whole {
		try(whole[:n])
	}
	for bit := range len(whole) * 8 {
		bad := bytes.Clone(whole)
		bad[bit/8] ^= 1 << (bit % 8)
		try(bad)
	}
	if _, err := segment.Open(whole, shop, keys); err != nil {
		t.Errorf("whole: %v", err)
	}
}

func TestReadPlaceNeedsNoKey(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", 2)
	p, err := segment.ReadPlace(l.seal(t, 2, 3))
	if err != nil || p != l.place(2, 3) || p.Len() != 2 {
		t.Errorf("place %v, %v", p, err)
	}
	for name, b := range map[string][]byte{"backwards": headerByHand(segment.Place{First: 2, Last: 1}), "from 0": headerByHand(segment.Place{Last: 1})} {
		if p, err := segment.ReadPlace(append(b, make([]byte, 1024-len(b))...)); !errors.Is(err, segment.ErrMalformed) || p != (segment.Place{}) {
			t.Errorf("%s: place %v, %v", name, p, err)
		}
	}
}

// Content that only who has the shop's key can have sealed, and that is not packed as
// it says, is no segment, and it is said which.
func TestOpenRefusesContentThatIsNotAsItSays_P10(t *testing.T) {
	l := begin(t, eventstest.FoundShop(t, 1), 1).notes(t, "hum", 3)
	shop := l.bench.Shop.ID
	for name, content := range map[string][]byte{
		"nothing inside":                   make([]byte, 8),
		"more packed bytes than there are": {0, 0, 0, 4, 255, 255, 255, 255, 1, 2},
		"not packed at all":                []byte("\x00\x00\x00\x04\x00\x00\x00\x04word"),
		"bytes behind the packed":          []byte("\x00\x00\x00\x04\x00\x00\x00\x00word"),
	} {
		b := sealContentByHand(t, key, shop, l.place(2, 4), content)
		refused(t, b, shop, segment.ErrMalformed)
		if _, err := segment.Open(b, shop, keys); err == nil || !strings.Contains(err.Error(), l.place(2, 4).String()) {
			t.Errorf("%s: it says %v", name, err)
		}
	}
}
