package replicate

import (
	"bytes"
	"errors"
	"fmt"
	"slices"

	"oldhand/events"
	"oldhand/sync/roster"
	"oldhand/sync/segment"
)

// Inbox takes segments into a bench's log. It is for one goroutine.
type Inbox struct {
	log  Log
	shop events.ShopID
	own  events.BenchKey

	here map[events.FeedID]events.Head
	told []events.Body // what the answer to joining stated

	reading bool // nothing is written: it is only looked at
	book    *roster.Book
	ring    roster.Ring
	keySets map[events.FeedID][]keySet
	aside   aside
	known   map[events.FeedID]events.SignedHead

	// Reread is set when something kept aside had no room, so that an exchange
	// must be read from its first message once it may be taken.
	Reread bool
}

// NewInbox makes the inbox of a bench's log. Told is what the answer to joining
// stated: it counts until the shop's founding is in the log, which says it too.
func NewInbox(log Log, shop events.ShopID, own events.BenchKey, told ...events.Body) (*Inbox, error) {
	in := &Inbox{log: log, shop: shop, own: own, told: told, here: map[events.FeedID]events.Head{}}
	return in, in.load()
}

// Look makes an inbox that takes nothing, of a log that may be open for reading
// only: to see what is kept aside and what is missing.
func Look(log Log, shop events.ShopID, own events.BenchKey, told ...events.Body) (*Inbox, error) {
	in := &Inbox{log: log, shop: shop, own: own, told: told, here: map[events.FeedID]events.Head{}, reading: true}
	return in, in.load()
}

func (in *Inbox) load() error {
	_, err := in.Refresh()
	if err := errors.Join(err, in.loadAside(), in.loadKnown()); err != nil {
		return fmt.Errorf("open the inbox: %w", err)
	}
	return nil
}

// Refresh reads the heads and the roster again, after the log grew by other
// means, and gives the heads that moved.
func (in *Inbox) Refresh() (moved []events.Head, err error) {
	for _, h := range in.log.Heads() {
		if in.here[h.Feed] != h {
			in.here[h.Feed], moved = h, append(moved, h)
		}
	}
	slices.SortFunc(moved, func(a, b events.Head) int { return a.Feed.Compare(b.Feed) })
	if len(moved) == 0 && in.book != nil {
		return nil, nil
	}
	book, err := in.bookWith(nil)
	if err != nil {
		return moved, err
	}
	return moved, in.setBook(book)
}

// bookWith is the roster's book of what is in the log and some events more.
func (in *Inbox) bookWith(evs []events.Event) (*roster.Book, error) {
	facts, err := in.log.Facts()
	if err != nil {
		return nil, err
	}
	book := roster.NewBook(in.shop)
	book.Add(facts...)
	book.Add(evs...)
	in.keySets = keySetsOf(facts)
	if _, founded := book.Roster().Founded(); !founded || !in.canSeal(book) {
		book.AddBodies(in.told...)
	}
	return book, nil
}

func (in *Inbox) canSeal(book *roster.Book) bool {
	ring, _ := book.Roster().Keys(in.own)
	_, ok := ring.Sealing()
	return ok
}

// setBook takes a roster and opens the shop's keys anew. Those that don't open
// are as if they were not there: what is sealed with them is kept aside.
func (in *Inbox) setBook(book *roster.Book) error {
	in.book = book
	in.ring, _ = book.Roster().Keys(in.own)
	return in.cut()
}

// cut lets the log know how far the feeds of retired benches count. What counts
// by number but is of another branch does not: of that nothing does (P12).
func (in *Inbox) cut() error {
	cuts, retired := map[events.FeedID]uint64{}, false
	r := in.book.Roster()
	for _, b := range r.Benches() {
		own, err := in.own.Public()
		retired = retired || b.Retired && err == nil && b.ID == own
	}
	for f, h := range in.here {
		b, ok := r.Bench(f.Bench)
		if !ok || !b.Retired {
			continue
		}
		upTo, _ := r.Counted(f)
		if upTo >= h.Seq && r.Counts(h).Counts() {
			continue
		}
		if upTo = min(upTo, h.Seq); !in.onBranch(r, f, upTo) {
			upTo = 0
		}
		cuts[f] = upTo
	}
	if in.reading {
		return nil
	}
	return in.log.SetCuts(cuts, retired)
}

// onBranch reports whether the event up to which a feed counts is the one here.
func (in *Inbox) onBranch(r roster.Roster, f events.FeedID, upTo uint64) bool {
	hash, ok, err := in.log.HashAt(f, upTo)
	return err == nil && ok && r.Counts(events.Head{Feed: f, Seq: upTo, Hash: hash}).Counts()
}

// Roster is who belongs to the shop, by what is in the log.
func (in *Inbox) Roster() roster.Roster { return in.book.Roster() }

// Ring is the shop's keys that this bench can open.
func (in *Inbox) Ring() roster.Ring { return in.ring }

// Came is what became of a segment.
type Came struct {
	Place  segment.Place
	Head   events.Head // that it ends at, where it could be opened
	Took   int         // events taken
	Had    bool        // all of it was here
	Roster bool        // who belongs to the shop may be another than before
	Aside  Why         // zero where it was taken or was here
	Words  string
}

// Take deals with a segment and writes marks with it. An error is this bench's
// own: its disk, not the segment; nothing was taken, and nothing is remembered.
func (in *Inbox) Take(b []byte, message uint64, marks func(Came) []Mark) (came Came, err error) {
	if marks == nil {
		marks = func(Came) []Mark { return nil }
	}
	came, opened, err := in.try(b, marks)
	if err != nil || came.Aside == 0 {
		return came, err
	}
	a := Aside{Digest: digestOf(b), Why: came.Aside, Words: came.Words, Place: came.Place, Bytes: bytes.Clone(b), Message: message}
	more := marks(came)
	if s := opened.Head; came.Aside != WhyFork && s.Seq > max(in.here[s.Feed].Seq, in.known[s.Feed].Seq) {
		more = append(more, headMark(s))
		defer func() {
			if err == nil {
				in.known[s.Feed] = s
			}
		}()
	}
	return came, in.keep(a, more)
}

// Again tries what is kept aside and may be taken since something came: of a
// feed what waited for events before it, and after a change of the roster what
// waited for that. It gives what it took.
func (in *Inbox) Again(since Came) (took []Came, err error) {
	for todo := []Came{since}; len(todo) > 0; todo = todo[1:] {
		for _, a := range in.aside.curedBy(todo[0]) {
			came, err := in.again(a)
			if err != nil {
				return took, err
			}
			if came.Took > 0 {
				took, todo = append(took, came), append(todo, came)
			}
		}
	}
	return took, nil
}

// again tries one segment that is kept aside.
func (in *Inbox) again(a Aside) (came Came, err error) {
	b, err := in.bytesOf(a)
	if err != nil {
		return came, err
	}
	if b == nil {
		in.Reread = true
		return came, nil
	}
	gone := []Mark{{a.key(), nil}}
	came, _, err = in.try(b, func(Came) []Mark { return gone })
	switch {
	case err != nil:
		return came, err
	case came.Aside == 0:
		in.aside.drop(a)
	case came.Aside != a.Why:
		a.Why, a.Words, a.Bytes = came.Aside, came.Words, b
		in.aside.drop(a)
		err = in.keep(a, nil)
	}
	return came, err
}

func (in *Inbox) bytesOf(a Aside) (b []byte, err error) {
	err = in.log.Marks(a.key(), func(k, v []byte) error {
		kept, err := readAside(k, v)
		b = kept.Bytes
		return err
	})
	return b, err
}

// try takes a segment in, or says why it can't be taken.
func (in *Inbox) try(b []byte, marks func(Came) []Mark) (came Came, o segment.Opened, err error) {
	came.Place, _ = segment.ReadPlace(b)
	o, err = in.open(b)
	if err != nil {
		came.Aside, came.Words = whyNot(err), err.Error()
		return came, o, nil
	}
	came.Place, came.Head = o.Place, o.Head.Head
	evs, err := in.behind(o)
	if err != nil {
		var local *localError
		if errors.As(err, &local) {
			return came, o, local.error
		}
		came.Aside, came.Words = whyNot(err), err.Error()
		return came, o, in.leave(o, came.Aside)
	}
	if evs == nil {
		came.Had = true
		return came, o, in.log.Receive(nil, nil, marks(came))
	}
	v, next, err := in.judge(o, evs)
	if err != nil {
		return came, o, err
	}
	if !v.Counts() {
		came.Aside, came.Words = WhyUnknown, v.Words
		return came, o, nil
	}
	came.Took, came.Roster = len(evs), next != nil
	return came, o, in.receive(o, evs, next, marks(came))
}

// localError is one of this bench, not of a segment.
type localError struct{ error }

// open opens a segment with whichever key of its epoch opens it.
func (in *Inbox) open(b []byte) (o segment.Opened, err error) {
	place, err := segment.ReadPlace(b)
	if err != nil {
		return o, err
	}
	keys := in.ring.Of(place.Epoch)
	if len(keys) == 0 {
		return segment.Open(b, in.shop, func(uint32) (segment.Key, bool) { return segment.Key{}, false })
	}
	for _, k := range keys {
		o, err = segment.Open(b, in.shop, func(uint32) (segment.Key, bool) { return segment.Key(k.Secret), true })
		if !errors.Is(err, segment.ErrSeal) {
			break
		}
	}
	return o, err
}

// behind gives the events of a segment that are not here; none where all are.
func (in *Inbox) behind(o segment.Opened) ([]events.Event, error) {
	at := in.here[o.Feed]
	at.Feed = o.Feed
	if at.Seq < o.Last {
		evs, err := o.Link(at)
		return evs, err
	}
	h, ok, err := in.log.HashAt(o.Feed, o.Last)
	if err != nil {
		return nil, &localError{err}
	}
	if !ok || h != o.Head.Hash {
		return nil, &segment.Fork{Feed: o.Feed, Seq: o.Last, Here: h, There: o.Head.Hash}
	}
	return nil, nil
}

// leave ends this bench's own feed where a segment shows that it has another
// writer: the log refuses the other events and goes on under a new name (F12).
func (in *Inbox) leave(o segment.Opened, why Why) error {
	if own, err := in.own.Public(); err != nil || why != WhyFork || o.Feed.Bench != own {
		return err
	}
	evs, err := o.Link(events.Head{Feed: o.Feed, Seq: o.First - 1, Hash: o.Prev})
	if err != nil {
		return err
	}
	err = in.log.Receive(evs, []events.SignedHead{o.Head}, nil)
	var refused *events.Refused
	if errors.As(err, &refused) {
		return nil
	}
	return err
}

// judge says whether the events count, by what the shop's owners said in the log
// and in the events themselves, and gives the roster that follows if they are
// taken; nil for the same as before.
func (in *Inbox) judge(o segment.Opened, evs []events.Event) (v roster.Verdict, next *roster.Book, err error) {
	if !slices.ContainsFunc(evs, func(e events.Event) bool { return roster.Concerns(e.Kind) }) {
		return in.book.Roster().Counts(o.Head.Head), nil, nil
	}
	next, err = in.bookWith(evs)
	if err != nil {
		return v, nil, err
	}
	return next.Roster().Counts(o.Head.Head), next, nil
}

// receive puts events that count into the log.
func (in *Inbox) receive(o segment.Opened, evs []events.Event, next *roster.Book, marks []Mark) error {
	k := in.known[o.Feed]
	covered := k.Seq > 0 && k.Seq <= o.Last
	if covered {
		marks = append(marks, Mark{headMark(k).Key, nil})
	}
	if err := in.log.Receive(evs, []events.SignedHead{o.Head}, marks); err != nil {
		return err
	}
	if covered {
		delete(in.known, o.Feed)
	}
	in.here[o.Feed] = o.Head.Head
	if next != nil {
		return in.setBook(next)
	}
	return nil
}

// Missing are the signed heads that are known and go further than what is here.
func (in *Inbox) Missing() (list []events.SignedHead) {
	for f, s := range in.known {
		if s.Seq > in.here[f].Seq && in.wanted(s.Head) {
			list = append(list, s)
		}
	}
	slices.SortFunc(list, func(a, b events.SignedHead) int { return a.Feed.Compare(b.Feed) })
	return list
}

// wanted reports whether what lies up to a head may be taken: not of a retired
// bench behind what counts of it.
func (in *Inbox) wanted(h events.Head) bool {
	r := in.book.Roster()
	b, ok := r.Bench(h.Feed.Bench)
	if !ok || !b.Retired {
		return true
	}
	upTo, _ := r.Counted(h.Feed)
	return in.here[h.Feed].Seq < min(upTo, h.Seq)
}

// Hear notes signed heads that somebody had, as a bundle tells: what goes further
// than what is here is known to be missing (P9). A head that is not signed by its
// bench for this shop is not heard.
func (in *Inbox) Hear(heads []events.SignedHead) error {
	var marks []Mark
	for _, s := range heads {
		if s.Verify(in.shop) != nil || s.Seq <= max(in.here[s.Feed].Seq, in.known[s.Feed].Seq) {
			continue
		}
		in.known[s.Feed] = s
		marks = append(marks, headMark(s))
	}
	if len(marks) == 0 {
		return nil
	}
	return in.log.Receive(nil, nil, marks)
}
