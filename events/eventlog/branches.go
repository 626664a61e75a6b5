package eventlog

import (
	"bytes"
	"cmp"
	"encoding/binary"
	"fmt"
	"slices"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
)

// A machine whose memory is put back while it runs, or a copied key, gives one
// feed two histories: its events are a tree then. Each way through it from where
// it leaves another is a branch, and has a row of its own in the table of feeds,
// so that events, lists, signed heads and cuts work by the row's number for all
// of them alike. Which branch came here first, and so has no root, is this
// store's affair; where the branches end is the same wherever the same events
// are.

// Branch names one line of a feed's events.
type Branch struct {
	Feed events.FeedID
	Root events.Hash // of its first event; zero for the branch that came here first
}

// First is the branch of a feed that came here first: on nearly every feed the
// only one.
func First(f events.FeedID) Branch { return Branch{Feed: f} }

// Compare orders branches by feed, the first before others.
func (b Branch) Compare(o Branch) int {
	return cmp.Or(b.Feed.Compare(o.Feed), bytes.Compare(b.Root[:], o.Root[:]))
}

// Reach is how far a branch goes here.
type Reach struct {
	Branch
	Base events.Head // the event that its first follows; number 0 where it begins the feed
	Head events.Head
}

// Own is how many events are of the branch itself, and not of the one it leaves.
func (r Reach) Own() uint64 { return r.Head.Seq - r.Base.Seq }

// Compare orders branches so that each follows the one that it leaves: it leaves
// behind where that begins.
func (r Reach) Compare(o Reach) int {
	first := func(r Reach) int {
		if r.Root == (events.Hash{}) {
			return 0
		}
		return 1
	}
	return cmp.Or(r.Feed.Compare(o.Feed), cmp.Compare(first(r), first(o)), cmp.Compare(r.Base.Seq, o.Base.Seq), r.Branch.Compare(o.Branch))
}

// Stretch is events that follow one another on one branch: from a number up to
// the head of the reach.
type Stretch struct {
	Reach
	From uint64
}

// base says where a row's branch leaves another. It never changes.
type base struct {
	of   feedNo      // the row that has the event left from; for number 0 any row of the feed
	head events.Head // that event
	root events.Hash // of the branch's first
}

func branchKey(n feedNo) []byte { return feedKey(famBranch, n) }

func (b base) value() []byte {
	v := binary.BigEndian.AppendUint32(nil, uint32(b.of))
	v = binary.BigEndian.AppendUint64(v, b.head.Seq)
	return append(append(v, b.head.Hash[:]...), b.root[:]...)
}

func readBase(v []byte) (b base, err error) {
	if len(v) != 4+8+32+32 {
		return b, fmt.Errorf("branch row of %d bytes: %w", len(v), ErrDamaged)
	}
	b.of, b.head.Seq = feedNo(binary.BigEndian.Uint32(v)), binary.BigEndian.Uint64(v[4:])
	copy(b.head.Hash[:], v[12:])
	copy(b.root[:], v[44:])
	return b, nil
}

// loadBases reads which rows are branches. It comes before the rows.
func (t *feedTable) loadBases(db *pebble.DB) error {
	t.bases, t.split = map[feedNo]base{}, map[events.FeedID][]feedNo{}
	return scan(db, []byte{famBranch}, []byte{famBranch + 1}, func(k, v []byte) (bool, error) {
		if len(k) != 5 {
			return false, fmt.Errorf("branch key of %d bytes: %w", len(k), ErrDamaged)
		}
		n := feedNo(binary.BigEndian.Uint32(k[1:]))
		b, err := readBase(v)
		if err == nil && b.of >= n { // rows are numbered as they come, and a way along them must end
			err = fmt.Errorf("branch row %d leaves row %d: %w", n, b.of, ErrDamaged)
		}
		t.bases[n] = b
		return true, err
	})
}

// add appends a row that is known to be the next. The caller holds the lock, or
// is alone.
func (t *feedTable) add(n feedNo, h events.Head) {
	t.heads = append(t.heads, h)
	if b, ok := t.bases[n]; ok {
		b.head.Feed = h.Feed
		t.bases[n] = b
		t.split[h.Feed] = append(t.split[h.Feed], n)
		return
	}
	t.byID[h.Feed] = n
	t.order = append(t.order, n)
}

// base is where a row's branch leaves another; for a first branch the feed's
// beginning.
func (t *feedTable) base(n feedNo) base {
	t.mu.RLock()
	defer t.mu.RUnlock()
	return t.bases[n]
}

// rows are the numbers of all branches of a feed, the first before others.
func (t *feedTable) rows(f events.FeedID) []feedNo {
	t.mu.RLock()
	defer t.mu.RUnlock()
	n, ok := t.byID[f]
	if !ok {
		return nil
	}
	return append([]feedNo{n}, t.split[f]...)
}

// number is the row of a branch.
func (t *feedTable) number(b Branch) (feedNo, bool) {
	t.mu.RLock()
	defer t.mu.RUnlock()
	if b.Root == (events.Hash{}) {
		n, ok := t.byID[b.Feed]
		return n, ok
	}
	for _, n := range t.split[b.Feed] {
		if t.bases[n].root == b.Root {
			return n, true
		}
	}
	return 0, false
}

// reach is how far a row goes. The caller holds the lock.
func (t *feedTable) reach(n feedNo) Reach {
	b := t.bases[n]
	b.head.Feed = t.heads[n].Feed
	return Reach{Branch{t.heads[n].Feed, b.root}, b.head, t.heads[n]}
}

// Branches are how far all branches of all feeds go here. Of a feed they come in
// an order in which each follows the one that it leaves.
func (l *Log) Branches() []Reach {
	list, _ := l.Moved(0)
	return list
}

// Reach is how far one branch goes here, false where it is not here.
func (l *Log) Reach(b Branch) (r Reach, ok bool) {
	n, ok := l.feeds.number(b)
	if !ok {
		return r, false
	}
	l.feeds.mu.RLock()
	defer l.feeds.mu.RUnlock()
	return l.feeds.reach(n), true
}

// Forks are the branches of feeds beside those that came first.
func (l *Log) Forks() (list []Reach) {
	l.feeds.mu.RLock()
	some := len(l.feeds.bases) > 0
	l.feeds.mu.RUnlock()
	if !some {
		return nil
	}
	return slices.DeleteFunc(l.Branches(), func(r Reach) bool { return r.Root == (events.Hash{}) })
}

// BranchEvents calls fn with a branch's own events behind a number as Feed does.
func (v *View) BranchEvents(b Branch, after uint64, fn func(events.Event) (bool, error)) error {
	n, ok := v.log.feeds.number(b)
	if !ok {
		return nil
	}
	return v.walk(n, after, fn)
}

// Find is the branch that has an event itself, false where it is not here. Every
// feed has the event of number zero on its first branch.
func (v *View) Find(h events.Head) (Branch, bool, error) {
	n, ok, err := v.find(h)
	if err != nil || !ok {
		return Branch{Feed: h.Feed}, h.Seq == 0 && h.Hash == (events.Hash{}), err
	}
	return Branch{h.Feed, v.log.feeds.base(n).root}, true, nil
}

// find is the row that has an event.
func (v *View) find(h events.Head) (feedNo, bool, error) {
	t := &v.log.feeds
	return findRow(h, t.rows(h.Feed), t.base, t.head, v.rows().hash)
}

func findRow(h events.Head, rows []feedNo, base func(feedNo) base, head func(feedNo) (events.Head, bool), hash func(feedNo, uint64) (events.Hash, bool, error)) (feedNo, bool, error) {
	for _, n := range rows {
		if end, ok := head(n); !ok || h.Seq > end.Seq || h.Seq <= base(n).head.Seq {
			continue
		}
		here, ok, err := hash(n, h.Seq)
		if err != nil || ok && here == h.Hash {
			return n, err == nil, err
		}
	}
	return 0, false, nil
}

// Along are the stretches that lead from a number to an event that is here, in
// the order of their numbers: one for each branch that the way goes along.
func (v *View) Along(first uint64, to events.Head) (list []Stretch, err error) {
	n, ok, err := v.find(to)
	if err != nil || !ok || first > to.Seq {
		return nil, err
	}
	for {
		b := v.log.feeds.base(n)
		b.head.Feed = to.Feed
		list = append(list, Stretch{Reach{Branch{to.Feed, b.root}, b.head, to}, max(first, b.head.Seq+1)})
		if first > b.head.Seq {
			slices.Reverse(list)
			return list, nil
		}
		n, to.Seq, to.Hash = b.of, b.head.Seq, b.head.Hash
	}
}

// rows are the numbers of all branches of a feed, with those that this commit
// adds.
func (tx *Tx) rows(f events.FeedID) []feedNo {
	rows := tx.log.feeds.rows(f)
	for _, l := range []*layer{tx.base, &tx.layer} {
		if n, ok := l.fresh[f]; ok {
			rows = append(rows, n)
		}
	}
	for _, l := range []*layer{tx.base, &tx.layer} {
		for n, b := range l.split {
			if b.head.Feed == f {
				rows = append(rows, n)
			}
		}
	}
	return rows
}

// baseOf is where a row's branch leaves another, with what this commit adds.
func (tx *Tx) baseOf(n feedNo) base {
	for _, l := range []*layer{tx.base, &tx.layer} {
		if b, ok := l.split[n]; ok {
			return b
		}
	}
	return tx.log.feeds.base(n)
}

// headOf is how far a row goes, with what this commit adds.
func (tx *Tx) headOf(n feedNo) (events.Head, bool) {
	for _, l := range []*layer{&tx.layer, tx.base} {
		if h, ok := l.heads[n]; ok {
			return h, true
		}
	}
	return tx.log.feeds.head(n)
}

// find is the row that has an event, with what this commit adds.
func (tx *Tx) find(h events.Head) (feedNo, bool, error) {
	return findRow(h, tx.rows(h.Feed), tx.baseOf, tx.headOf, tx.hash)
}

// beginBranch gives an event a row of its own, behind one that is here on a row
// whose end it does not follow. From then on programs from before branches must
// leave the store alone: they would not see what it holds.
func (tx *Tx) beginBranch(e events.Event) (feedNo, bool, error) {
	before, linked := e.Before()
	of, ok, err := tx.find(before)
	if before.Seq == 0 {
		of, _, ok = tx.feed(e.Feed)
	}
	if err != nil || !ok || !linked {
		return 0, false, err
	}
	n := tx.nextRow()
	b := base{of, before, e.Hash}
	tx.layer.split[n] = b
	tx.layer.put(branchKey(n), b.value())
	if tx.log.spacing == dense {
		tx.layer.put(metaFormat, []byte{formatBranches})
	}
	return n, true, nil
}

// nextRow is the number of the next row of the table of feeds.
func (tx *Tx) nextRow() feedNo {
	n := tx.log.feeds.len()
	for _, l := range []*layer{tx.base, &tx.layer} {
		n += len(l.fresh) + len(l.split)
	}
	return feedNo(n)
}
