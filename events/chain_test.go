package events_test

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"testing"

	"oldhand/events"
)

// hashByHand lays out what chain.go says is hashed, with nothing of ours in
// between: the tag and a zero byte, bench (32) and run (16), the sequence
// number (8, big endian), the hash before (32), the record.
func hashByHand(f events.FeedID, seq uint64, prev events.Hash, record []byte) events.Hash {
	var b bytes.Buffer
	b.WriteString("oldhand event 1\x00")
	b.Write(f.Bench[:])
	b.Write(f.Incarnation[:])
	for shift := 56; shift >= 0; shift -= 8 {
		b.WriteByte(byte(seq >> shift))
	}
	b.Write(prev[:])
	b.Write(record)
	return sha256.Sum256(b.Bytes())
}

// threeRecords are a feed's first three events.
func threeRecords() [][]byte {
	var recs [][]byte
	for i, b := range []events.Body{full[events.FeedBegun](), full[events.Received](), full[events.Note]()} {
		recs = append(recs, example{"", eventID(byte(i + 1)), draftOf(b)}.record())
	}
	return recs
}

// linked links records one after the other and gives the events.
func linked(f events.FeedID, recs [][]byte) (chain []events.Event, err error) {
	head := events.Head{Feed: f}
	for _, rec := range recs {
		e, err := events.Link(head, rec)
		if err != nil {
			return chain, err
		}
		chain, head = append(chain, e), e.Head()
	}
	return chain, nil
}

func TestTheHashIsOverTagFeedNumberHashBeforeAndRecord(t *testing.T) {
	recs := threeRecords()
	chain := must(linked(feed, recs))
	var prev events.Hash
	for i, e := range chain {
		want := hashByHand(feed, uint64(i+1), prev, recs[i])
		if e.Hash != want || e.Seq != uint64(i+1) || e.Feed != feed || !bytes.Equal(e.Record, recs[i]) {
			t.Errorf("event %d of %s has hash %s, by hand %s", e.Seq, e.Feed.Short(), e.Hash, want)
		}
		prev = want
	}
	// A record that does not fit a small buffer is hashed whole.
	long := bytes.Repeat([]byte{7}, 5000)
	if events.HashEvent(feed, 1, prev, long) != hashByHand(feed, 1, prev, long) {
		t.Error("a long record has another hash")
	}
}

// One wrong bit anywhere in a chain shows at that event, or at the latest at
// the head that the bench signed; and at once where the hash is kept.
func TestF04_F18_EverySingleBitFlipInAChainIsFound(t *testing.T) {
	recs := threeRecords()
	chain := must(linked(feed, recs))
	signed := must(bench.SignHead(shop, chain[2].Head()))
	for i := range recs {
		var before events.Head
		if before.Feed = feed; i > 0 {
			before = chain[i-1].Head()
		}
		for bit := range len(recs[i]) * 8 {
			bad := bytes.Clone(recs[i])
			bad[bit/8] ^= 1 << (bit % 8)
			if _, err := events.Reread(before, bad, chain[i].Hash); err == nil {
				t.Fatalf("event %d, bit %d: read again without a word", i+1, bit)
			}
			all := append([][]byte{}, recs...)
			all[i] = bad
			got, err := linked(feed, all)
			if err != nil {
				continue
			}
			end := events.SignedHead{Head: got[2].Head(), Signature: signed.Signature}
			if end.Verify(shop) == nil {
				t.Fatalf("event %d, bit %d: the bench's signature holds for other bytes", i+1, bit)
			}
		}
	}
}

func TestAnEventKnowsTheHeadItWasLinkedBehind(t *testing.T) {
	recs := threeRecords()
	head := events.Head{Feed: feed}
	for i, e := range must(linked(feed, recs)) {
		again := must(events.Reread(head, recs[i], e.Hash))
		for _, e := range []events.Event{e, again} {
			if got, ok := e.Before(); !ok || got != head || !e.Follows(got) {
				t.Errorf("event %d: before is %v, %v, want %v", e.Seq, got, ok, head)
			}
		}
		trusted := must(events.Trusted(feed, e.Seq, recs[i], e.Hash))
		if got, ok := trusted.Before(); ok || got != (events.Head{}) {
			t.Errorf("event %d: read without linking it knows %v", e.Seq, got)
		}
		head = e.Head()
	}
}

func TestAnEventDoesNotFitAnotherPlace(t *testing.T) {
	chain := must(linked(feed, threeRecords()))
	second, third := chain[1], chain[2]
	place := second.Head()
	for name, change := range map[string]func(*events.Head){
		"another hash before":  func(h *events.Head) { h.Hash[31] ^= 1 },
		"the hash one earlier": func(h *events.Head) { h.Hash = chain[0].Hash },
		"one number later":     func(h *events.Head) { h.Seq++ },
		"one number earlier":   func(h *events.Head) { h.Seq-- },
		"another run":          func(h *events.Head) { h.Feed.Incarnation[0] ^= 1 },
		"another bench":        func(h *events.Head) { h.Feed.Bench[0] ^= 1 },
	} {
		bad := place
		change(&bad)
		_, err := events.Reread(bad, third.Record, third.Hash)
		var refused *events.Refused
		if !errors.Is(err, events.ErrLink) || !errors.As(err, &refused) || refused.Feed != bad.Feed || refused.Seq != bad.Seq+1 {
			t.Errorf("%s: got %v, want it refused at its place with ErrLink", name, err)
		}
	}
	if _, err := events.Reread(place, third.Record, third.Hash); err != nil {
		t.Errorf("in its own place: %v", err)
	}
}

// Every feed says first to which shop it belongs and where its bench stood,
// and says so once (F10 rests on it).
func TestF10_FeedBegunStandsFirstAndOnlyThere(t *testing.T) {
	recs := threeRecords()
	for name, order := range map[string][]int{
		"another event first": {1}, "begun twice": {0, 0}, "begun in the middle": {0, 1, 0}, "begun last": {1, 0},
	} {
		var list [][]byte
		for _, i := range order {
			list = append(list, recs[i])
		}
		if _, err := linked(feed, list); !errors.Is(err, events.ErrLink) {
			t.Errorf("%s: got %v, want ErrLink", name, err)
		}
	}
	if _, err := linked(feed, recs); err != nil {
		t.Error(err)
	}
}

// Trusted is for what was linked before: it reads, and takes the hash as said.
func TestTrustedReadsTheSameEventAsLink(t *testing.T) {
	chain := must(linked(feed, threeRecords()))
	want := chain[1]
	got, err := events.Trusted(feed, 2, want.Record, want.Hash)
	if err != nil || got.Head() != want.Head() || got.Envelope != want.Envelope || !bytes.Equal(got.RawBody(), want.RawBody()) {
		t.Errorf("got %v, %v", got, err)
	}
	var refused *events.Refused
	if _, err := events.Trusted(feed, 2, want.Record[:20], want.Hash); !errors.As(err, &refused) || !errors.Is(err, events.ErrMalformed) {
		t.Errorf("half a record: got %v", err)
	}
	if _, err := events.Reread(chain[0].Head(), want.Record[:20], want.Hash); !errors.As(err, &refused) || !errors.Is(err, events.ErrMalformed) {
		t.Errorf("half a record read again: got %v", err)
	}
}

func TestACopyOfAnEventSharesNoMemoryWithIt(t *testing.T) {
	e := must(linked(feed, threeRecords()))[2]
	c := e.Copied(bytes.Clone(e.Record))
	if c.Head() != e.Head() || c.Envelope != e.Envelope || !bytes.Equal(c.Record, e.Record) || !bytes.Equal(c.RawBody(), e.RawBody()) {
		t.Errorf("the copy is %+v", c)
	}
	line := c.Line()
	clear(e.Record)
	if c.Line() != line || c.Record[0] == 0 {
		t.Error("the copy changed with the original")
	}
}

// Two feeds with the same events have no hash in common.
func TestTheSameRecordHasAnotherHashOnAnotherFeed(t *testing.T) {
	other := feed
	other.Incarnation[15] ^= 1
	a, b := must(linked(feed, threeRecords())), must(linked(other, threeRecords()))
	for i := range a {
		if a[i].Hash == b[i].Hash {
			t.Errorf("event %d has the same hash on both", i+1)
		}
	}
}

// Test vectors 1 to 3 of RFC 8032 section 7.1.
func TestABenchKeyIsTheEd25519KeyOfRFC8032(t *testing.T) {
	for secret, public := range map[string]string{
		"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60": "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
		"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb": "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
		"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7": "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
	} {
		key := must(events.BenchKeyOf([32]byte(unhex(t, secret))))
		id := must(key.Public())
		if got := hex.EncodeToString(id[:]); got != public {
			t.Errorf("public half of %s is %s, want %s", secret, got, public)
		}
		again := must(events.BenchKeyFrom(must(key.Seed())))
		if must(again.Public()) != id {
			t.Errorf("the key read from its seed has another public half")
		}
		// What it signs, Go's own Ed25519 signs the same: the signature is
		// determined by key and statement (RFC 8032 section 5.1.6).
		founded := must(key.Found("Kelm Radio", half(1)))
		if want := ed25519.Sign(ed25519.NewKeyFromSeed(unhex(t, secret)), founded.Statement()); !bytes.Equal(founded.Signature, want) {
			t.Errorf("signs %x, want %x", founded.Signature, want)
		}
	}
}
