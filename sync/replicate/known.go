package replicate

import (
	"slices"

	"oldhand/events"
	"oldhand/sync/segment"
)

// known are signed heads that go further than what is here, by feed.
func (in *Inbox) loadKnown() error {
	in.known = map[events.FeedID]events.SignedHead{}
	return in.log.Marks([]byte{'h'}, func(k, v []byte) error {
		s, err := readHead(k, v)
		in.known[s.Feed] = s
		return err
	})
}

// note remembers the head of a segment that is kept aside, where it goes further
// than all that is known, and forgets it where the segment turned out to be of
// another branch: nothing of that is waited for.
func (in *Inbox) note(why Why, o segment.Opened) (marks []Mark, done func()) {
	s, k := o.Head, in.known[o.Feed]
	switch {
	case why == WhyFork && k.Seq > 0 && k.Head == s.Head:
		return []Mark{{headMark(k).Key, nil}}, func() { delete(in.known, s.Feed) }
	case why.waits() && s.Seq > in.here[s.Feed].Seq && in.weighs(s, k):
		return []Mark{headMark(s)}, func() { in.known[s.Feed] = s }
	}
	return nil, func() {}
}

// weighs reports whether a head says more than one that is known. What counts
// weighs more than what does not, whatever its number: who can sign for a
// retired bench can sign any number.
func (in *Inbox) weighs(s, k events.SignedHead) bool {
	r := in.book.Roster()
	counts, counted := r.Counts(s.Head).Counts(), k.Seq > 0 && r.Counts(k.Head).Counts()
	if counts != counted {
		return counts || k.Seq == 0
	}
	return s.Seq > k.Seq
}

// Missing are the signed heads that are known, count, and go further than what
// is here.
func (in *Inbox) Missing() (list []events.SignedHead) {
	r := in.book.Roster()
	for f, s := range in.known {
		if s.Seq > in.here[f].Seq && r.Counts(s.Head).Counts() {
			list = append(list, s)
		}
	}
	slices.SortFunc(list, func(a, b events.SignedHead) int { return a.Feed.Compare(b.Feed) })
	return list
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
