package events

import (
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
)

// An event's hash is SHA-256 over, in this order: the tag below with a zero
// byte, the feed (48 bytes), the sequence number (8, big endian), the hash of
// the event before it (32, zero for the first), and the record. It is part of
// the format for ever.
const hashTag = "oldhand event 1\x00"

// HashEvent is the hash of a record in its place.
func HashEvent(f FeedID, seq uint64, prev Hash, record []byte) Hash {
	var room [512]byte
	b := append(room[:0], hashTag...)
	b = append(append(b, f.Bench[:]...), f.Incarnation[:]...)
	b = binary.BigEndian.AppendUint64(b, seq)
	b = append(b, prev[:]...)
	return sha256.Sum256(append(b, record...))
}

func hashOf(tag string, data []byte) Hash {
	return sha256.Sum256(append(append([]byte(tag), 0), data...))
}

// Link reads a record that is to follow the head on its feed. Prev is the zero
// head of the feed for its first event. The event's hash is computed here, so
// an event that came from Link is chained; that the chain is the bench's is
// for a signed head to say.
func Link(head Head, record []byte) (Event, error) {
	e, body, err := DecodeRecord(record)
	if err == nil {
		err = checkBody(body)
	}
	if err == nil {
		err = checkPlace(head, e)
	}
	if err != nil {
		return Event{}, &Refused{head.Feed, head.Seq + 1, err}
	}
	return placed(head, e, body, record), nil
}

// placed puts a record that is known to be sound behind a head.
func placed(head Head, e Envelope, body RawBody, record []byte) Event {
	return Event{e, head.Feed, head.Seq + 1, HashEvent(head.Feed, head.Seq+1, head.Hash, record), record, body, head.Hash, true}
}

// checkPlace holds what must be so on every feed: the first event begins it
// and no other does.
func checkPlace(head Head, e Envelope) error {
	if first := head.Seq == 0; first != (e.Kind == KindFeedBegun) {
		return fmt.Errorf("%s as event %d: %w", e.Kind, head.Seq+1, ErrLink)
	}
	return nil
}

// Reread reads an event that was linked once and is kept with its hash, and
// checks the hash against its place again.
func Reread(head Head, record []byte, kept Hash) (Event, error) {
	e, body, err := DecodeRecord(record)
	if err != nil {
		return Event{}, &Refused{head.Feed, head.Seq + 1, err}
	}
	ev := placed(head, e, body, record)
	if ev.Hash != kept {
		return Event{}, &Refused{head.Feed, head.Seq + 1, fmt.Errorf("hash is %s, kept is %s: %w", ev.Hash.Short(), kept.Short(), ErrLink)}
	}
	return ev, nil
}

// Trusted reads an event that this program wrote and checked before, without
// computing its hash again. A rebuild of projections uses it; whoever gives an
// event to anybody else uses Reread.
func Trusted(f FeedID, seq uint64, record []byte, kept Hash) (Event, error) {
	e, body, err := DecodeRecord(record)
	if err != nil {
		return Event{}, &Refused{f, seq, err}
	}
	return Event{Envelope: e, Feed: f, Seq: seq, Hash: kept, Record: record, body: body}, nil
}

// Head is the head of a feed that ends with the event.
func (e Event) Head() Head { return Head{e.Feed, e.Seq, e.Hash} }

// SignedHead is a head with its bench's signature: proof that the bench's log
// had exactly these events.
type SignedHead struct {
	Head
	Signature [signatureSize]byte
}

// headStatement is what a bench signs for a head of one of its feeds.
func headStatement(shop ShopID, h Head) []byte {
	return statement("oldhand head 1", shop[:], h.bytes())
}

// SignHead signs a head of the bench's own feed.
func (k BenchKey) SignHead(shop ShopID, h Head) (SignedHead, error) {
	sig, err := k.sign(headStatement(shop, h))
	if err != nil {
		return SignedHead{}, fmt.Errorf("sign head %d of %s: %w", h.Seq, h.Feed.Short(), err)
	}
	s := SignedHead{Head: h}
	copy(s.Signature[:], sig)
	return s, nil
}

// Verify checks that the feed's bench signed the head for the shop.
func (s SignedHead) Verify(shop ShopID) error {
	if !ed25519.Verify(s.Feed.Bench[:], headStatement(shop, s.Head), s.Signature[:]) {
		return &Refused{s.Feed, s.Seq, fmt.Errorf("head: %w", ErrSignature)}
	}
	return nil
}

// Copied is the event with its record in other memory, which must hold the
// same bytes.
func (e Event) Copied(record []byte) Event {
	e.body = RawBody(record[len(record)-len(e.body):])
	e.Record = record
	return e
}
