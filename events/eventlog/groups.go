package eventlog

import (
	"fmt"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// An event's hash follows from the one before it and its record, and hashes don't
// pack, so that one kept with each event would be a sixth of a store. It is kept with
// every sixteenth. The events between two that keep theirs are a group: they are read
// together, and checked together from the hash that the first of them follows, which
// is kept with the event before it or, where a row begins, in the table of branches,
// to the hash that is kept with the last or, where a row ends, in the table of feeds.
// Nobody is given an event of a group, or a hash, before all of it was checked. One
// wrong bit makes a group unreadable, as it would the block of the table that the
// group lies in.

// spacing is how far the events of a row that keep their hash are apart: those whose
// number it divides do.
type spacing uint64

const (
	dense  spacing = 1  // of stores of format 1 and 2: each event is a group of its own
	sparse spacing = 16 // larger ones save little more: of 32 bytes an event two are left
)

// spacingOf is the spacing of a store of a format.
func spacingOf(format byte) spacing {
	if format < formatSparse {
		return dense
	}
	return sparse
}

// keeps reports whether an event keeps its hash.
func (s spacing) keeps(seq uint64) bool { return seq%uint64(s) == 0 }

// before is the number, below an event's, behind which its group begins, unless its
// row begins later.
func (s spacing) before(seq uint64) uint64 { return (seq - 1) / uint64(s) * uint64(s) }

// appendValue appends what stands under an event's key: its hash where it is kept,
// and its record.
func (s spacing) appendValue(b []byte, seq uint64, h events.Hash, record []byte) []byte {
	if s.keeps(seq) {
		b = append(b, h[:]...)
	}
	return append(b, record...)
}

// split reads what appendValue wrote. The hash is zero where none is kept.
func (s spacing) split(seq uint64, v []byte) (kept events.Hash, record []byte, err error) {
	if !s.keeps(seq) {
		return kept, v, nil
	}
	if len(v) < len(kept) {
		return kept, nil, fmt.Errorf("event of %d bytes: %w", len(v), ErrDamaged)
	}
	copy(kept[:], v)
	return kept, v[len(kept):], nil
}

// group is events of a row that are checked together.
type group struct {
	begin  events.Head // what the first follows
	hashes []events.Hash
	ends   []int // of their records
	room   []byte
	whole  bool // what was added last kept its hash
}

// start empties the group and has it begin behind a head.
func (g *group) start(behind events.Head) {
	g.begin, g.hashes, g.ends, g.room, g.whole = behind, g.hashes[:0], g.ends[:0], g.room[:0], false
}

// head is that of the event which was added last.
func (g *group) head() events.Head {
	n := len(g.hashes)
	if n == 0 {
		return g.begin
	}
	return events.Head{Feed: g.begin.Feed, Seq: g.begin.Seq + uint64(n), Hash: g.hashes[n-1]}
}

// has reports whether an event of a number is in the group.
func (g *group) has(seq uint64) bool { return seq > g.begin.Seq && seq <= g.head().Seq }

// record is that of an event in the group. It is good until more is added.
func (g *group) record(seq uint64) []byte {
	i, from := seq-g.begin.Seq-1, 0
	if i > 0 {
		from = g.ends[i-1]
	}
	return g.room[from:g.ends[i]]
}

// hash is that of an event in the group, or of what it begins behind.
func (g *group) hash(seq uint64) events.Hash {
	if seq == g.begin.Seq {
		return g.begin.Hash
	}
	return g.hashes[seq-g.begin.Seq-1]
}

// event reads an event in the group from its record, which is in memory of the
// caller's choice.
func (g *group) event(seq uint64, record []byte) (events.Event, error) {
	e, err := events.Reread(events.Head{Feed: g.begin.Feed, Seq: seq - 1, Hash: g.hash(seq - 1)}, record, g.hash(seq))
	if err != nil {
		return e, fmt.Errorf("%w: %w", ErrDamaged, err)
	}
	return e, nil
}

// add adds what stands behind the group's events; to a whole group, as the first of
// the next.
func (g *group) add(s spacing, k, v []byte) error {
	if g.whole {
		g.start(g.head())
	}
	head := g.head()
	_, seq, err := readEventKey(k)
	if err != nil {
		return err
	}
	if seq != head.Seq+1 {
		return fmt.Errorf("feed %s: event %d stands where %d should: %w", head.Feed.Short(), seq, head.Seq+1, ErrDamaged)
	}
	kept, record, err := s.split(seq, v)
	if err != nil {
		return fmt.Errorf("feed %s at %d: %w", head.Feed.Short(), seq, err)
	}
	g.hashes = append(g.hashes, events.HashEvent(head.Feed, seq, head.Hash, record))
	g.room = append(g.room, record...)
	g.ends = append(g.ends, len(g.room))
	g.whole = s.keeps(seq)
	if g.whole {
		return g.check(kept)
	}
	return nil
}

// check compares the hash that the group's events come to with the one kept.
func (g *group) check(kept events.Hash) error {
	head := g.head()
	if head.Hash == kept {
		return nil
	}
	why := fmt.Errorf("hash is %s, kept is %s: %w", head.Hash.Short(), kept.Short(), events.ErrLink)
	if first := g.begin.Seq + 1; first < head.Seq {
		why = fmt.Errorf("events %d to %d: %w", first, head.Seq, why)
	}
	return fmt.Errorf("%w: %w", ErrDamaged, &events.Refused{Feed: head.Feed, Seq: head.Seq, Why: why})
}

// endsRow checks that the group is the last of its row. A row has an event of its own:
// it is written with its first.
func (g *group) endsRow(row events.Head) error {
	head := g.head()
	if head.Seq == row.Seq && len(g.hashes) > 0 {
		return g.check(row.Hash)
	}
	return fmt.Errorf("feed %s ends at %d (%s), its row says %d (%s): %w",
		row.Feed.Short(), head.Seq, head.Hash.Short(), row.Seq, row.Hash.Short(), ErrDamaged)
}

// run is the part of a row that is to be read.
type run struct {
	n    feedNo
	base base
	row  events.Head // how far it goes
	from uint64      // the first event wanted, behind the base
	upTo uint64      // the last of them, at most the row's; what lies behind that is not looked for
}

// last is the number at which the last group of a run ends.
func (u run) last(s spacing) uint64 { return min(s.before(u.upTo)+uint64(s), u.row.Seq) }

// first is the head that the first group of a run begins behind; without its hash
// where an event keeps that.
func (u run) first(s spacing) (h events.Head, kept bool) {
	h = events.Head{Feed: u.row.Feed, Seq: u.base.head.Seq, Hash: u.base.head.Hash}
	if before := s.before(u.from); before > h.Seq {
		return events.Head{Feed: h.Feed, Seq: before}, true
	}
	return h, false
}

// groups calls fn with the groups of a run, each after it was checked, until fn gives
// false. Each comes in g. A run that comes to the row's end is found to end at its head.
func (s spacing) groups(it *pebble.Iterator, u run, g *group, fn func() (bool, error)) error {
	begin, kept := u.first(s)
	g.start(begin)
	from := begin.Seq
	if !kept {
		from++
	}
	to := eventKey(u.n, u.last(s)+1)
	if u.upTo >= u.row.Seq {
		to = eventKey(u.n+1, 0) // a row that stands behind the last is damage
	}
	ok := it.SeekGE(eventKey(u.n, from))
	if kept {
		if err := g.startAt(s, it, ok); err != nil {
			return err
		}
		ok = it.Next()
	}
	for ; ok && string(it.Key()) < string(to); ok = it.Next() {
		v, err := it.ValueAndErr()
		if err != nil {
			return readError(err)
		}
		if err := g.add(s, it.Key(), v); err != nil {
			return err
		}
		if !g.whole {
			continue
		}
		if more, err := fn(); err != nil || !more {
			return err
		}
	}
	if err := it.Error(); err != nil {
		return readError(err)
	}
	return u.end(s, g, fn)
}

// startAt has the group begin behind the event that an iterator stands at.
func (g *group) startAt(s spacing, it *pebble.Iterator, ok bool) error {
	if err := it.Error(); err != nil {
		return readError(err)
	}
	if !ok {
		return notHere(g.begin.Feed, g.begin.Seq)
	}
	_, seq, err := readEventKey(it.Key())
	if err != nil {
		return err
	}
	if seq != g.begin.Seq {
		return notHere(g.begin.Feed, g.begin.Seq)
	}
	v, err := it.ValueAndErr()
	if err != nil {
		return readError(err)
	}
	g.begin.Hash, _, err = s.split(seq, v)
	return err
}

// end hands out the group that a run ended in, if it is one that its row ends.
func (u run) end(s spacing, g *group, fn func() (bool, error)) error {
	if g.whole && u.last(s) < u.row.Seq && g.head().Seq == u.last(s) {
		return nil
	}
	if err := g.endsRow(u.row); err != nil || g.whole || len(g.hashes) == 0 {
		return err
	}
	_, err := fn()
	return err
}
