package eventlog

import (
	"encoding/binary"
	"fmt"
	"io"

	"oldhand/events"
)

// beginFeed opens a new run of this bench's log, under a name drawn at random,
// whose first event says where the bench's log stood.
func (tx *Tx) beginFeed() error {
	id := events.FeedID{Bench: tx.log.bench}
	if _, err := io.ReadFull(tx.log.opt.Random, id.Incarnation[:]); err != nil {
		return fmt.Errorf("begin a feed: %w", err)
	}
	parent, err := tx.parent()
	if err != nil {
		return fmt.Errorf("begin a feed: %w", err)
	}
	first, err := tx.firstOf(events.FeedBegun{Shop: tx.log.opt.Shop, Parent: parent, Software: tx.log.opt.Software})
	if err != nil {
		return err
	}
	n, head, _ := tx.feed(id)
	tx.layer.own, tx.layer.begun = n, true
	tx.layer.heads[n] = head
	tx.layer.put(metaOwn, binary.BigEndian.AppendUint32(nil, uint32(n)))
	_, err = tx.placeNext(first)
	return err
}

// firstOf makes a feed's first event. Its id lies just below those of the
// action's events, which have theirs: it is the first of them less one, so
// that two benches that begin a feed in one millisecond give two ids.
func (tx *Tx) firstOf(b events.FeedBegun) (made, error) {
	at := tx.made[0].env.ID
	var random [8]byte
	if n := binary.BigEndian.Uint64(at[8:]); n > 0 {
		binary.BigEndian.PutUint64(random[:], n-1)
	}
	id := events.NewEventID(at.Stamp(), random)
	env, body, err := events.Draft{At: events.AtTime(tx.log.opt.Now()), Body: b}.Make(id)
	return made{env, body}, err
}

// parent is where this bench's log stands: the head of the feed it wrote last
// here, or of one of its own that came here after that and is newer. A folder
// put back to an older copy gets its other life back from other benches, and
// one may hold its bench's past without ever having written; the log goes on
// behind that past, not beside it.
//
// Feeds are numbered in the order they came, so that in an ordinary life there
// is none behind the last one written.
func (tx *Tx) parent() (last events.Head, err error) {
	var newest events.EventID
	for n, head := range tx.ownFeeds() {
		id, err := tx.idAt(n, head.Seq)
		if err != nil {
			return last, fmt.Errorf("read where feed %s ends: %w", head.Feed.Short(), err)
		}
		if last.Seq == 0 || newest.Compare(id) < 0 {
			last, newest = head, id
		}
	}
	return last, nil
}

// ownFeeds are the feed this bench wrote last and those of its own that came
// here since, with what this commit adds.
func (tx *Tx) ownFeeds() map[feedNo]events.Head {
	own := map[feedNo]events.Head{}
	first := tx.layer.own
	if first == noFeed {
		first = 0
	}
	keep := func(n feedNo, h events.Head) {
		if h.Seq > 0 && h.Feed.Bench == tx.log.bench && n >= first {
			own[n] = h
		}
	}
	for i, h := range tx.log.feeds.from(first) {
		keep(first+feedNo(i), h)
	}
	for _, l := range []*layer{tx.base, &tx.layer} {
		for n, h := range l.heads {
			keep(n, h)
		}
	}
	return own
}

// idAt is the id of the event in a place.
func (tx *Tx) idAt(n feedNo, seq uint64) (events.EventID, error) {
	record, err := tx.record(n, seq)
	if err != nil {
		return events.EventID{}, err
	}
	env, _, err := events.DecodeRecord(record)
	return env.ID, err
}
