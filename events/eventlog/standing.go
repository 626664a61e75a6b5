package eventlog

import (
	"crypto/sha256"
	"encoding/binary"
	"fmt"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// standing compares the store with the witness: whether the feed this bench
// wrote last may be gone on with, and whether some of what it wrote is gone.
func (l *Log) standing() error {
	if l.bench == (events.BenchID{}) {
		return nil
	}
	head, err := l.loadOwn()
	if err != nil {
		return err
	}
	if head.Seq > 0 && head.Feed.Bench != l.bench {
		return nil // another bench's folder, read or taken over
	}
	w, ok, err := l.witness.load()
	if err != nil {
		return fmt.Errorf("read the witness: %w", err)
	}
	same := ok && w.Incarnation == head.Feed.Incarnation && w.Seq == head.Seq && w.Hash == head.Hash
	l.doubtful = !same && (ok || head.Seq > 0)
	l.begun = same && l.opt.Boot != "" && w.Boot == bootHash(l.opt.Boot)
	if ok && !same {
		l.found.LostTail = l.lostTail(w)
	}
	if err := l.keepLost(w); err != nil {
		return err
	}
	if ok && !l.opt.ReadOnly {
		l.settleWitness(w, same)
	}
	return nil
}

// loadOwn reads which feed this bench wrote last, and its head; zero where it
// never wrote here.
func (l *Log) loadOwn() (head events.Head, err error) {
	own, err := l.getMeta(metaOwn)
	if err != nil || own == nil {
		return head, err
	}
	if len(own) != 4 {
		return head, fmt.Errorf("the bench's own feed in %d bytes: %w", len(own), ErrDamaged)
	}
	l.own = feedNo(binary.BigEndian.Uint32(own))
	head, ok := l.feeds.head(l.own)
	if !ok {
		return head, fmt.Errorf("the bench's own feed %d has no row: %w", l.own, ErrDamaged)
	}
	return head, nil
}

// lostTail says what the witness saw of its feed that is not here.
func (l *Log) lostTail(w Witness) *LostTail {
	_, head, _ := l.feeds.find(events.FeedID{Bench: l.bench, Incarnation: w.Incarnation})
	if w.Seq <= head.Seq {
		return nil
	}
	return &LostTail{Have: head.Seq, Had: w.Seq}
}

// keepLost keeps what was lost in the store, since the witness forgets it with
// the next write, and finds again what was kept until those events are here.
func (l *Log) keepLost(w Witness) error {
	if l.found.LostTail != nil {
		if l.opt.ReadOnly {
			return nil
		}
		v := binary.BigEndian.AppendUint64(append([]byte(nil), w.Incarnation[:]...), w.Seq)
		return l.failure.run(l.opt.Deadline, "note what was lost", func() error { return l.db.Set(metaLost, v, pebble.Sync) })
	}
	v, err := l.getMeta(metaLost)
	if err != nil || v == nil {
		return err
	}
	if len(v) != 16+8 {
		return fmt.Errorf("what was lost in %d bytes: %w", len(v), ErrDamaged)
	}
	lost := Witness{Seq: binary.BigEndian.Uint64(v[16:])}
	copy(lost.Incarnation[:], v)
	l.found.LostTail = l.lostTail(lost)
	return nil
}

// settleWitness makes sure of the witness before anything is written. One that
// does not match loses its hash, so that it never vouches for this store or
// for a copy that is put back later; one that does must be writable, or the
// feed is left.
func (l *Log) settleWitness(w Witness, same bool) {
	if !same {
		w.Hash = events.Hash{}
	}
	if err := l.witness.save(w); err != nil {
		l.begun = false
		l.failure.warn("the witness file could not be written; what is written next begins a new feed: " + err.Error())
	}
}

func bootHash(boot string) (h [16]byte) {
	sum := sha256.Sum256([]byte("oldhand boot " + boot))
	copy(h[:], sum[:])
	return h
}
