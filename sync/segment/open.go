package segment

import (
	"errors"
	"fmt"

	"oldhand/events"
	"oldhand/sync/seal"
)

// Opened is a segment of which everything holds: the chain of its records and
// its bench's signature for where they end. Only Open makes one.
type Opened struct {
	Place
	Prev    events.Hash // of the event before the first; zero before event 1
	Head    events.SignedHead
	Records [][]byte // as they were received; their memory is one piece

	linked []events.Event
}

// Open checks a segment and reads it. Key gives the shop's key of an epoch,
// where it is known. What does not hold whole gives nothing.
func Open(b []byte, shop events.ShopID, key func(epoch uint32) (Key, bool)) (Opened, error) {
	p, err := readHeader(b)
	if err == nil {
		err = p.checkFor(shop)
	}
	if err != nil {
		return Opened{}, fmt.Errorf("open a segment: %w", err)
	}
	o, err := p.open(b, shop, key)
	if err != nil {
		return Opened{}, fmt.Errorf("open segment %s: %w", p, err)
	}
	return o, nil
}

// checkFor says nothing of a place that is another shop's.
func (p Place) checkFor(shop events.ShopID) error {
	if p.Shop != TagOf(shop) {
		return ErrOtherShop
	}
	return p.check()
}

func (p Place) open(b []byte, shop events.ShopID, key func(uint32) (Key, bool)) (o Opened, err error) {
	k, ok := key(p.Epoch)
	if !ok {
		return o, fmt.Errorf("epoch %d: %w", p.Epoch, ErrNoKey)
	}
	plain, err := seal.Open(k, b, headerSize, shop[:])
	if errors.Is(err, seal.ErrMalformed) {
		err = fmt.Errorf("%w: %w", ErrMalformed, err)
	}
	if err != nil {
		return o, err
	}
	in, err := readBody(plain, p.Len())
	if err != nil {
		return o, err
	}
	return p.verified(in, shop)
}

// verified links every record behind prev and checks that the chain ends at a
// head which the feed's bench signed.
func (p Place) verified(in body, shop events.ShopID) (Opened, error) {
	o := Opened{Place: p, Prev: in.prev, Records: in.records, linked: make([]events.Event, 0, p.Len())}
	o.Head = events.SignedHead{Head: events.Head{Feed: p.Feed, Seq: p.Last, Hash: in.hash}, Signature: in.signature}
	head := o.before()
	if head.Seq == 0 && head.Hash != (events.Hash{}) {
		return Opened{}, fmt.Errorf("a hash (%s) before event 1: %w", head.Hash.Short(), events.ErrLink)
	}
	for _, r := range o.Records {
		e, err := events.Link(head, r)
		if err != nil {
			return Opened{}, err
		}
		o.linked, head = append(o.linked, e), e.Head()
	}
	if err := endsAt(head, o.Head.Head); err != nil {
		return Opened{}, err
	}
	if err := o.Head.Verify(shop); err != nil {
		return Opened{}, err
	}
	return o, nil
}

// before is the head that the segment follows.
func (o Opened) before() events.Head {
	return events.Head{Feed: o.Feed, Seq: o.First - 1, Hash: o.Prev}
}
