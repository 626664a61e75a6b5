package replicate

import (
	"errors"
	"fmt"
	"slices"
	"sync/atomic"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/sync/roster"
)

// Inbox takes segments into a bench's log. It is for one goroutine.
type Inbox struct {
	log  Log
	shop events.ShopID
	own  events.BenchKey

	here   map[eventlog.Branch]eventlog.Reach
	mark   uint64        // here is as the log was then, with what was taken since
	told   []events.Body // what the answer to joining stated
	book   *roster.Book
	ring   roster.Ring
	keys   atomic.Pointer[roster.Ring] // the same, for openings on other goroutines
	ahead  *Opening                    // of the segment that is being taken
	aside  aside
	known  map[events.FeedID][]events.SignedHead // of what is not here, what weighs most first
	proven map[events.Hash]bool                  // events of retired benches that lead to what counts

	// Reread is set when something was not kept, for want of room, that may be
	// taken: an exchange must be read from its first message.
	Reread bool

	reading bool // nothing is written: it is only looked at

	// What the log failed at, so that it is done with what comes next.
	untried []Came // since these came not all was tried again
	uncut   bool   // cuts are not as they must be
}

// NewInbox makes the inbox of a bench's log. Told is what the answer to joining
// stated, which is in the log too once the others' events are.
func NewInbox(log Log, shop events.ShopID, own events.BenchKey, told ...events.Body) (*Inbox, error) {
	in := newInbox(log, shop, own, told)
	return in, in.load()
}

func newInbox(log Log, shop events.ShopID, own events.BenchKey, told []events.Body) *Inbox {
	return &Inbox{log: log, shop: shop, own: own, told: told, here: map[eventlog.Branch]eventlog.Reach{}, proven: map[events.Hash]bool{}}
}

// Look makes an inbox that takes nothing, of a log that may be open for reading
// only: to see what is kept aside and what is missing.
func Look(log Log, shop events.ShopID, own events.BenchKey, told ...events.Body) (*Inbox, error) {
	in := newInbox(log, shop, own, told)
	in.reading = true
	return in, in.load()
}

func (in *Inbox) load() error {
	_, _, err := in.refresh()
	if err := errors.Join(err, in.loadAside(), in.loadKnown(), in.loadReread(), in.cut()); err != nil {
		return fmt.Errorf("open the inbox: %w", err)
	}
	return nil
}

// refresh reads the heads again, after the log grew by other means, and gives those
// that moved. The roster is read again where something of it came: roster is whether it
// may be another than before.
func (in *Inbox) refresh() (moved []eventlog.Reach, roster bool, err error) {
	moved, mark := in.log.Moved(in.mark)
	moved = slices.DeleteFunc(moved, func(r eventlog.Reach) bool { return in.here[r.Branch] == r })
	if len(moved) == 0 && in.book != nil {
		in.mark = mark
		return nil, false, in.cutIf(false)
	}
	concerned, err := in.concerned(moved)
	var facts []events.Event
	if err == nil && concerned {
		facts, err = in.log.Facts()
	}
	if err != nil {
		return nil, false, err // nothing is noted, so that it is looked at again
	}
	for _, r := range moved {
		in.here[r.Branch] = r
	}
	in.mark = mark
	changed := concerned && in.learn(facts)
	if err := in.cutIf(changed || slices.ContainsFunc(moved, in.ofRetired)); err != nil {
		in.owe(Came{Roster: changed})
		return moved, changed, err
	}
	return moved, changed, nil
}

// ofRetired reports whether a branch is of a retired bench.
func (in *Inbox) ofRetired(r eventlog.Reach) bool {
	b, _ := in.Roster().Bench(r.Feed.Bench)
	return b.Retired
}

// mostLooked is how many events are looked at for what concerns the roster. Of
// more the shop's own facts are soonest read.
const mostLooked = 1000

// concerned reports whether the roster may be another since feeds moved. A
// person's action moves one feed by a few events that say nothing of the shop;
// reading all that was ever said of it at each of them would take longer every
// year.
func (in *Inbox) concerned(moved []eventlog.Reach) (yes bool, err error) {
	if in.book == nil {
		return true, nil
	}
	left := mostLooked
	for _, r := range moved {
		err = in.log.Kinds(r.Branch, in.here[r.Branch].Head.Seq, func(k events.Kind) bool {
			left--
			yes = left < 0 || roster.Concerns(k)
			return !yes
		})
		if yes || err != nil {
			break
		}
	}
	return yes, err
}

// learn takes what events say of the roster, and reports whether that was
// anything new. An owner's word counts wherever it is found, so those of
// segments that are kept aside are learnt as well: what lets a segment be taken
// may stand in one that can't be.
func (in *Inbox) learn(evs []events.Event) bool {
	if in.book == nil {
		book := roster.NewBook(in.shop)
		book.AddBodies(in.told...)
		in.setBook(book)
	}
	if !in.book.Add(evs...) {
		return false
	}
	in.setBook(in.book)
	return true
}

// setBook takes a roster and opens the shop's keys anew. Those that don't open
// are as if they were not there: what is sealed with them is kept aside.
func (in *Inbox) setBook(book *roster.Book) {
	in.book = book
	in.ring, _ = book.Roster().Keys(in.own)
	ring := in.ring
	in.keys.Store(&ring)
}

// Roster is who belongs to the shop, by what is in the log.
func (in *Inbox) Roster() roster.Roster { return in.book.Roster() }

// Ring is the shop's keys that this bench can open.
func (in *Inbox) Ring() roster.Ring { return in.ring }
