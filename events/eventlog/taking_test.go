package eventlog_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// another makes a feed under the name of one that is there, from its first event on.
func another(t *testing.T, shop eventstest.Shop, b *eventstest.Bench, feed events.FeedID, n int) sent {
	t.Helper()
	body, err := events.EncodeBody(events.FeedBegun{Shop: shop.ID, Software: "another life"})
	if err != nil {
		t.Fatal(err)
	}
	record, err := events.EncodeRecord(events.Envelope{ID: events.EventID{1, 99}, Kind: events.KindFeedBegun}, body)
	if err != nil {
		t.Fatal(err)
	}
	first, err := events.Link(events.Head{Feed: feed}, record)
	if err != nil {
		t.Fatal(err)
	}
	rest := onwards(t, b, first, "another life", n)
	return sent{append([]events.Event{first}, rest.evs...), rest.head}
}

// A machine that was put back before it wrote its feed's first event writes two feeds
// under one name: both are kept whole, whichever came first, and are passed on.
func TestF12_FeedsThatDifferFromTheirFirstEventOnAreBothKept_P4_P5_P6(t *testing.T) {
	shop := eventstest.FoundShop(t, 530)
	from, b := bench2(t, shop)
	other := another(t, shop, b, from.head.Feed, 20)
	for name, order := range map[string][]sent{"one first": {from, other}, "the other first": {other, from}} {
		t.Run(name, func(t *testing.T) {
			o := shop.Bench(t, 1).InFolder(t.TempDir())
			l := eventstest.Open(t, o)
			takeRuns(t, l, order...)
			check := func(l *eventlog.Log) {
				t.Helper()
				want := map[events.Hash]bool{}
				for _, e := range append(from.evs[:len(from.evs):len(from.evs)], other.evs...) {
					want[e.Hash] = true
				}
				if err := asBefore(l, want); err != nil {
					t.Error(err)
				}
				viewOf(t, l, func(v *eventlog.View) error {
					heads, err := v.CountedHeads()
					if len(heads) != 2 || !slices.Contains(heads, from.head.Head) || !slices.Contains(heads, other.head.Head) {
						t.Errorf("ends at %v", heads)
					}
					evs, listed := v.Events(unit)
					if len(evs) != len(want)-2 {
						t.Errorf("%d events about the unit, want %d", len(evs), len(want)-2)
					}
					along, way := v.Along(1, order[1].head.Head)
					if len(along) != 1 || along[0].From != 1 || along[0].Base.Seq != 0 {
						t.Errorf("the way to the second's end is %v", along)
					}
					return errors.Join(err, listed, way)
				})
			}
			check(l)
			closeLog(t, l)
			l = eventstest.Open(t, o)
			check(l)
			to := eventstest.Open(t, shop.Bench(t, 3).Options(vfs.NewMem(), "log"))
			passedOn(t, l, to)
			check(to)
		})
	}
}

// What comes is followed by a projection as what is written here is, one event at a time
// and in runs, on each branch.
func TestProjectionsFollowWhatComes_P5(t *testing.T) {
	shop := eventstest.FoundShop(t, 531)
	trunk, second, _ := tree(t, shop)
	seen := map[events.Hash]int{}
	o := shop.Bench(t, 1).Options(vfs.NewMem(), "log")
	o.Projector = projector(func(_ *eventlog.Tx, evs []events.Event) error {
		for _, e := range evs {
			seen[e.Hash]++
		}
		return nil
	})
	l := eventstest.Open(t, o)
	if err := l.Receive(bg, trunk.evs, []events.SignedHead{trunk.head}); err != nil {
		t.Fatal(err)
	}
	takeRuns(t, l, second, second)
	for _, e := range append(trunk.evs[:len(trunk.evs):len(trunk.evs)], second.evs...) {
		if seen[e.Hash] != 1 {
			t.Errorf("event %d was followed %d times", e.Seq, seen[e.Hash])
		}
	}
}

// Events that were read without their links, as for views, are linked again before they
// are taken, and are then as good as any.
func TestEventsWithoutTheirLinksAreLinkedWhenTheyAreTaken_P10(t *testing.T) {
	shop := eventstest.FoundShop(t, 532)
	from, _ := bench2(t, shop)
	var bare []events.Event
	for _, e := range from.evs {
		b, err := events.Trusted(e.Feed, e.Seq, e.Record, e.Hash)
		if err != nil {
			t.Fatal(err)
		}
		bare = append(bare, b)
	}
	l := receiver(t, shop)
	err := l.ReceiveWith(bg, bare, []events.SignedHead{from.head}, func(tx *eventlog.Tx) error {
		evs, err := tx.Events(unit)
		if len(evs) != len(bare)-1 {
			t.Errorf("the action reads %d events, want %d", len(evs), len(bare)-1)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	mustSound(t, l, nil)
	if n := len(eventstest.All(t, l)); n != len(bare) {
		t.Errorf("%d events, want %d", n, len(bare))
	}
}

// The bytes of an event change between its taking and its reading in one action: it is
// not given to who asks, and the action that hears so leaves nothing.
func TestBytesThatChangeInAnActionAreNotRead_P10(t *testing.T) {
	shop := eventstest.FoundShop(t, 533)
	from, _ := bench2(t, shop)
	l := receiver(t, shop)
	err := l.ReceiveWith(bg, from.evs, []events.SignedHead{from.head}, func(tx *eventlog.Tx) error {
		from.evs[2].Record[len(from.evs[2].Record)-1] ^= 1
		evs, err := tx.Events(unit)
		if len(evs) > 0 {
			t.Errorf("%d events are given", len(evs))
		}
		return err
	})
	if wantErr(t, err, eventlog.ErrDamaged); !strings.Contains(err.Error(), from.head.Feed.Short()) {
		t.Errorf("it says %v", err)
	}
	if n := len(l.Heads()); n != 0 || l.Err() != nil {
		t.Errorf("%d feeds (%v)", n, l.Err())
	}
}

// A reading fails while something is refused, whichever it is: it is not taken all the
// same, and the log has what it had.
func TestF04_EachReadingOfARefusalCanFail_P6_P10(t *testing.T) {
	shop := eventstest.FoundShop(t, 534)
	from, b := bench2(t, shop)
	more := onwards(t, b, from.evs[len(from.evs)-1], "more", 30)
	all := append(from.evs[:len(from.evs):len(from.evs)], more.evs...)
	disk := vfs.NewCrashableMem()
	l := eventstest.Open(t, eventlog.Tiny(shop.Bench(t, 1).Options(disk, "log")))
	takeRuns(t, l, from, more)
	if err := errors.Join(l.Flush(), l.Compact(t)); err != nil {
		t.Fatal(err)
	}
	closeLog(t, l)
	for _, seq := range []uint64{5, 16, 32} { // one in a group, and two that keep their hash
		other := forge(t, all[seq-2], all[seq-1], "other")
		head := signedAt(t, b, other)
		for name, take := range map[string]func(*eventlog.Log) error{
			"an event": func(l *eventlog.Log) error { return l.Receive(bg, []events.Event{other}, []events.SignedHead{head}) },
			"a head":   func(l *eventlog.Log) error { return l.Receive(bg, nil, []events.SignedHead{head}) },
		} {
			t.Run(fmt.Sprintf("%s at %d", name, seq), func(t *testing.T) {
				for n := int64(0); ; n++ {
					u, on := newUnreadable(), clone(disk)
					l := eventstest.Open(t, eventlog.Cold(shop.Bench(t, 1).Options(u.over(on), "log")))
					came, err := u.failing(n, func() error { return take(l) })
					if !came {
						if n == 0 {
							t.Error("nothing is read from the disk")
						}
						wantRefused(t, err, events.ErrLink, seq)
						return
					}
					if err == nil || !errors.Is(err, syscall.EIO) && !errors.Is(err, events.ErrLink) {
						t.Errorf("reading %d failed, and it says %v", n, err)
					}
					if got := l.Heads()[0]; got != more.head.Head || l.Err() != nil {
						t.Errorf("reading %d failed, and then the feed ends at %d (%v)", n, got.Seq, l.Err())
					}
					closeLog(t, l)
				}
			})
		}
	}
}

// A view that is not given back keeps the store open, and Close says so; what was saved
// is there for the next process.
func TestClosingWithAViewThatIsNotGivenBackIsSaid_P1(t *testing.T) {
	disk := vfs.NewCrashableMem()
	b := eventstest.FoundShop(t, 535).Bench(t, 1)
	l := eventstest.Open(t, eventlog.Hasty(b.Options(disk, "log")))
	var a acks
	if err := a.save(l, "saved"); err != nil {
		t.Fatal(err)
	}
	v, err := l.View()
	if err != nil {
		t.Fatal(err)
	}
	if err := l.Close(); err == nil || !strings.Contains(err.Error(), "not given back") {
		t.Errorf("closing says %v", err)
	}
	if evs, err := v.Events(unit); err != nil || len(evs) != noteSize {
		t.Errorf("the view gives %d events (%v)", len(evs), err)
	}
	v.Close()
	mustSound(t, eventstest.Open(t, b.Options(asFound(disk), "log")), a.list())
}

// closings is a disk on which the n-th file to be closed, from 1, says that it can't be.
type closings struct {
	vfs.FS
	at    int64
	count atomic.Int64
}

type closingFile struct {
	vfs.File
	of *closings
}

func (f closingFile) Close() error {
	err := f.File.Close()
	if f.of.count.Add(1) == f.of.at {
		return syscall.EIO
	}
	return err
}

func (c *closings) file(f vfs.File, err error) (vfs.File, error) {
	if err != nil {
		return nil, err
	}
	return closingFile{f, c}, nil
}

func (c *closings) Create(name string, as vfs.DiskWriteCategory) (vfs.File, error) {
	return c.file(c.FS.Create(name, as))
}
func (c *closings) Open(name string, o ...vfs.OpenOption) (vfs.File, error) {
	return c.file(c.FS.Open(name, o...))
}
func (c *closings) OpenDir(name string) (vfs.File, error) { return c.file(c.FS.OpenDir(name)) }
func (c *closings) ReuseForWrite(old, name string, as vfs.DiskWriteCategory) (vfs.File, error) {
	return c.file(c.FS.ReuseForWrite(old, name, as))
}

// A file can't be closed while a store is made, whichever it is: opening says so, or
// what is saved then is there; and the next opening makes it or reads it.
func TestF06_EachClosingOfAFileOfANewStoreCanFail_P1(t *testing.T) {
	refused := 0
	for n := int64(1); ; n++ {
		disk := vfs.NewCrashableMem()
		on := &closings{FS: disk, at: n}
		b := eventstest.FoundShop(t, 536).Bench(t, 1)
		var a acks
		l, err := eventlog.Open(impatient(b.Options(on, "log")))
		met := on.count.Load() >= n
		if err == nil {
			if err := a.save(l, "saved"); err != nil && !errors.Is(err, eventlog.ErrReadOnly) && !errors.Is(err, eventlog.ErrDead) {
				t.Errorf("closing %d failed, and saving says %v", n, err)
			}
			_ = l.Close()
		} else if refused++; !errors.Is(err, syscall.EIO) && !errors.Is(err, eventlog.ErrNoStore) {
			t.Errorf("closing %d failed, and opening says %v", n, err)
		}
		again := eventstest.Open(t, b.Options(asFound(disk), "log"))
		mustSound(t, again, a.list())
		if err := a.save(again, "again"); err != nil {
			t.Errorf("closing %d failed, and then %v", n, err)
		}
		mustSound(t, again, a.list())
		if !met {
			if n < 5 || refused == 0 {
				t.Errorf("%d closings, %d of them refused", n-1, refused)
			}
			return
		}
	}
}
