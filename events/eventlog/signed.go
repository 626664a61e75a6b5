package eventlog

import (
	"encoding/binary"
	"fmt"

	"oldhand/events"
)

// Of another bench's feed the last signed head is kept, and of those before it
// as many as are needed for no run between two to be longer than events.MaxRun
// and events.MaxRunBytes, where the bench signed that often. So a feed that grew
// by one event at a time is passed on in long runs, and one that came as long
// runs can be passed on as it came, by a bench that can't sign for it.

// standingHead is the last signed head of a feed, and how far back the one kept
// before it is.
type standingHead struct {
	events.SignedHead
	before uint64 // number of the event at the kept head before; zero for the feed's beginning
	bytes  uint64 // of the records behind that, up to this head
}

func (h standingHead) value() []byte {
	b := binary.BigEndian.AppendUint64(signedValue(h.SignedHead), h.before)
	return binary.BigEndian.AppendUint64(b, h.bytes)
}

// lastSigned reads the last signed head that is kept of a feed; its number is
// zero where none is.
func lastSigned(read func([]byte) ([]byte, error), n feedNo) (h standingHead, err error) {
	v, err := read(feedKey(famSigned, n))
	if err != nil || v == nil {
		return h, err
	}
	cut := len(v) - 16
	if cut < 0 {
		return h, fmt.Errorf("signed head of %d bytes: %w", len(v), ErrDamaged)
	}
	if h.SignedHead, err = readSigned(v[:cut]); err != nil {
		return h, err
	}
	h.before, h.bytes = binary.BigEndian.Uint64(v[cut:]), binary.BigEndian.Uint64(v[cut+8:])
	return h, nil
}

func signedValue(s events.SignedHead) []byte { return append(feedValue(s.Head), s.Signature[:]...) }

func readSigned(v []byte) (s events.SignedHead, err error) {
	cut := len(v) - len(s.Signature)
	if cut < 0 {
		return s, fmt.Errorf("signed head of %d bytes: %w", len(v), ErrDamaged)
	}
	if s.Head, err = readFeedValue(v[:cut]); err != nil {
		return s, err
	}
	copy(s.Signature[:], v[cut:])
	return s, nil
}

// earlierKey is where a signed head before the last stands.
func earlierKey(n feedNo, seq uint64) []byte {
	return binary.BigEndian.AppendUint64(feedKey(famSigned, n), seq)
}

// keepSigned keeps a signed head unless a later one of the feed is kept. The one
// that was last stays where the run would be too long without it.
func (tx *Tx) keepSigned(n feedNo, s events.SignedHead) error {
	last, err := lastSigned(tx.raw, n)
	if err != nil || last.Seq >= s.Seq {
		return err
	}
	if from := tx.baseOf(n).head.Seq; last.Seq == 0 {
		last.Seq, last.before = from, from
	}
	next := standingHead{SignedHead: s, before: last.before, bytes: last.bytes}
	size, err := tx.sizeOf(n, last.Seq, s.Seq)
	if err != nil {
		return err
	}
	next.bytes += size
	if last.Seq > last.before && (s.Seq-last.before > events.MaxRun || next.bytes > events.MaxRunBytes) {
		tx.layer.put(earlierKey(n, last.Seq), signedValue(last.SignedHead))
		next.before, next.bytes = last.Seq, size
	}
	tx.layer.put(feedKey(famSigned, n), next.value())
	return nil
}

// sizeOf is the size of the records behind one event up to another. Of more than
// a run the exact size does not matter.
func (tx *Tx) sizeOf(n feedNo, after, upTo uint64) (size uint64, err error) {
	if upTo-after > events.MaxRun {
		return events.MaxRunBytes + 1, nil
	}
	for seq := after + 1; seq <= upTo; seq++ {
		record, err := tx.record(n, seq)
		if err != nil {
			return 0, err
		}
		size += uint64(len(record))
	}
	return size, nil
}

// Run gives the events of a feed behind a number, up to a head that is proven
// to others by its signature: as many as are sent at once. Of its own feeds this
// bench signs what it likes; of others it ends at heads that their benches
// signed. None are given where nothing behind the number can be proven.
//
// Of a feed with branches it is the one which came here first.
func (v *View) Run(f events.FeedID, after uint64) (evs []events.Event, end events.SignedHead, err error) {
	return v.BranchRun(First(f), after)
}

// BranchRun is Run of one branch, from its own first event on.
func (v *View) BranchRun(b Branch, after uint64) (evs []events.Event, end events.SignedHead, err error) {
	mine := b.Feed.Bench == v.log.bench && !v.log.opt.Key.IsZero()
	n, ok := v.log.feeds.number(b)
	if !ok {
		return nil, end, nil
	}
	var ends []events.SignedHead
	if !mine {
		if ends, err = v.signedAfter(n, after, after+events.MaxRun); err != nil || len(ends) == 0 {
			return nil, end, err
		}
	}
	size, whole := 0, 0
	err = v.walk(n, after, func(e events.Event) (bool, error) {
		size += len(e.Record)
		full := len(evs) >= events.MaxRun || size > events.MaxRunBytes
		if full && (mine || whole > 0) || !mine && len(ends) == 0 {
			return false, nil
		}
		evs = append(evs, e)
		if mine {
			whole = len(evs)
		} else if ends[0].Seq == e.Seq {
			whole, end, ends = len(evs), ends[0], ends[1:]
		}
		return true, nil
	})
	if evs = evs[:whole]; err != nil || whole == 0 || !mine {
		return evs, end, err
	}
	end, err = v.log.opt.Key.SignHead(v.log.opt.Shop, evs[whole-1].Head())
	return evs, end, err
}

// signedAfter are the signed heads kept of another bench's feed behind a number:
// those up to another number, or else the first.
func (v *View) signedAfter(n feedNo, after, upTo uint64) (heads []events.SignedHead, err error) {
	err = scan(v.snap, earlierKey(n, after+1), feedKey(famSigned, n+1), func(_, val []byte) (bool, error) {
		s, err := readSigned(val)
		if err != nil || len(heads) > 0 && s.Seq > upTo {
			return false, err
		}
		heads = append(heads, s)
		return true, nil
	})
	if err != nil {
		return nil, err
	}
	last, err := lastSigned(func(k []byte) ([]byte, error) { return get(v.snap, k) }, n)
	if err == nil && last.Seq > after {
		heads = append(heads, last.SignedHead)
	}
	return heads, err
}
