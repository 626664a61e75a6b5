package segment

import (
	"fmt"
	"io"

	"oldhand/events"
	"oldhand/sync/seal"
)

// Key is the shop's secret of one epoch.
type Key = seal.Key

// Seal makes the segment of consecutive events of one feed, which were linked
// (events.Link, events.Reread), and of the signed head they end at. The nonce
// is drawn from random: crypto/rand, or a seeded source in tests. It refuses
// what Open would refuse.
func Seal(shop events.ShopID, epoch uint32, key Key, evs []events.Event, head events.SignedHead, random io.Reader) ([]byte, error) {
	if len(evs) == 0 {
		return nil, fmt.Errorf("seal a segment without events: %w", ErrMalformed)
	}
	p := Place{TagOf(shop), evs[0].Feed, evs[0].Seq, evs[len(evs)-1].Seq, epoch}
	b, err := p.seal(shop, key, evs, head, random)
	if err != nil {
		return nil, fmt.Errorf("seal segment %s: %w", p, err)
	}
	return b, nil
}

func (p Place) seal(shop events.ShopID, key Key, evs []events.Event, head events.SignedHead, random io.Reader) ([]byte, error) {
	prev, err := chained(evs)
	if err == nil {
		err = p.check()
	}
	if err == nil {
		err = endsAt(evs[len(evs)-1].Head(), head.Head)
	}
	if err == nil {
		err = head.Verify(shop)
	}
	if err != nil {
		return nil, err
	}
	in := body{prev: prev, hash: head.Hash, signature: head.Signature}
	for _, e := range evs {
		in.records = append(in.records, e.Record)
	}
	return seal.Seal(key, p.header(), shop[:], in.bytes(), random)
}

// chained gives the hash before the first of events that follow one another.
func chained(evs []events.Event) (prev events.Hash, err error) {
	before, ok := evs[0].Before()
	if !ok {
		return prev, fmt.Errorf("event %d was not linked: %w", evs[0].Seq, events.ErrLink)
	}
	prev = before.Hash
	for _, e := range evs {
		if !e.Follows(before) {
			return prev, fmt.Errorf("event %d of %s after %d of %s: %w", e.Seq, e.Feed.Short(), before.Seq, before.Feed.Short(), events.ErrLink)
		}
		before = e.Head()
	}
	return prev, nil
}

// endsAt holds the end of a chain against the head that was signed.
func endsAt(chain, signed events.Head) error {
	if chain == signed {
		return nil
	}
	return fmt.Errorf("the events end at %d (%s), the signed head is %d (%s): %w",
		chain.Seq, chain.Hash.Short(), signed.Seq, signed.Hash.Short(), events.ErrLink)
}
