package replicate

import (
	"bytes"
	"cmp"
	"errors"
	"slices"

	"oldhand/events"
	"oldhand/sync/segment"
)

// mostKnown is of how many heads of one feed it is remembered that they are not
// here: a feed has one end, or as many as it has branches.
const mostKnown = 8

func (in *Inbox) loadKnown() error {
	in.known = map[events.FeedID][]events.SignedHead{}
	read := func(k, v []byte) error {
		s, err := readHead(k, v)
		in.known[s.Feed] = append(in.known[s.Feed], s)
		return err
	}
	return errors.Join(in.log.Marks([]byte{'h'}, read), in.log.Marks([]byte{'i'}, read))
}

// setKnown gives the marks that remember other heads of a feed than before: the
// first as it was when a feed had one, the others beside it.
func (in *Inbox) setKnown(f events.FeedID, list []events.SignedHead) (marks []Mark, done func()) {
	old := in.known[f]
	for i, s := range old {
		if m := headMark(s, i == 0); i == 0 && len(list) == 0 || i > 0 && !slices.Contains(list[min(1, len(list)):], s) {
			marks = append(marks, Mark{m.Key, nil})
		}
	}
	for i, s := range list {
		if i >= len(old) || old[i] != s {
			marks = append(marks, headMark(s, i == 0))
		}
	}
	return marks, func() {
		if in.known[f] = list; len(list) == 0 {
			delete(in.known, f)
		}
	}
}

// note remembers the head of a segment that is kept aside, where nothing that is
// known goes as far.
func (in *Inbox) note(why Why, o segment.Opened) (marks []Mark, done func(), err error) {
	done = func() {}
	if !why.waits() {
		return nil, done, nil
	}
	if _, here, err := in.log.Find(o.Head.Head); here || err != nil {
		return nil, done, err
	}
	marks, done = in.hearOf(o.Head, in.without(o))
	return marks, done, nil
}

// hearOf adds a head to what is known of its feed.
func (in *Inbox) hearOf(s events.SignedHead, list []events.SignedHead) (marks []Mark, done func()) {
	if slices.Contains(list, s) {
		return nil, func() {}
	}
	list = append(slices.Clone(list), s)
	slices.SortStableFunc(list, in.weigh)
	return in.setKnown(s.Feed, list[:min(len(list), mostKnown)])
}

// reached gives the marks that forget what is known of a feed and comes with a
// segment.
func (in *Inbox) reached(o segment.Opened) (marks []Mark, done func()) {
	if len(in.known[o.Feed]) == 0 {
		return nil, func() {}
	}
	return in.setKnown(o.Feed, in.without(o))
}

// without is what is known of a segment's feed and not on the way to its end.
func (in *Inbox) without(o segment.Opened) []events.SignedHead {
	evs := eventsOf(o)
	return slices.DeleteFunc(slices.Clone(in.known[o.Feed]), func(k events.SignedHead) bool {
		return k.Seq+1 == o.First && k.Hash == o.Prev || k.Seq >= o.First && k.Seq <= o.Last && evs[k.Seq-o.First].Hash == k.Hash
	})
}

// weigh orders heads by what they say, most first. What counts weighs more than
// what does not, whatever its number: who can sign for a retired bench can sign
// any number.
func (in *Inbox) weigh(a, b events.SignedHead) int {
	r := in.book.Roster()
	first := func(s events.SignedHead) int {
		if r.Counts(s.Head).Counts() {
			return 0
		}
		return 1
	}
	return cmp.Or(cmp.Compare(first(a), first(b)), cmp.Compare(b.Seq, a.Seq), bytes.Compare(a.Hash[:], b.Hash[:]))
}

// Missing are the signed heads that are known, count, and are not here.
func (in *Inbox) Missing() (list []events.SignedHead) {
	r := in.book.Roster()
	for f, heads := range in.known {
		if _, all := r.Counted(f); !all && len(in.lacking(f)) == 0 {
			continue // what does not lead to what counts of a retired bench is not missing
		}
		for _, s := range heads {
			if _, here, err := in.log.Find(s.Head); r.Counts(s.Head).Counts() && (!here || err != nil) {
				list = append(list, s)
			}
		}
	}
	slices.SortFunc(list, func(a, b events.SignedHead) int {
		return cmp.Or(a.Feed.Compare(b.Feed), cmp.Compare(a.Seq, b.Seq), bytes.Compare(a.Hash[:], b.Hash[:]))
	})
	return list
}

// lacking are the heads up to which a retired bench's feed counts that are not
// here.
func (in *Inbox) lacking(f events.FeedID) []events.Head {
	return slices.DeleteFunc(in.book.Roster().Heads(f), func(h events.Head) bool {
		_, here, err := in.log.Find(h)
		return here && err == nil
	})
}

// Sealed is how many segments are kept aside because the key of their epoch is
// not here.
func (in *Inbox) Sealed() (n int) {
	for _, a := range in.aside.rows {
		if a.Why == WhyNoKey && len(in.ring.Of(a.Place.Epoch)) == 0 {
			n++
		}
	}
	return n
}
