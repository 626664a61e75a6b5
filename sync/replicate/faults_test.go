package replicate_test

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
	"oldhand/sync/benchtest"
	"oldhand/sync/replicate"
	"oldhand/sync/segment"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// What the worlds of package benchtest found, each as short as it can be told.

// A key that only its own segment could open would never be read by anybody.
func TestANewKeyReachesBenchesThatHaveTheOldOne_P4(t *testing.T) {
	s := newShop(t, 1, 3)
	a, b, late := s.desks[0], s.desks[1], s.desks[2]
	x := benchtest.NewModel("A")
	settle(x, a, b)
	a.rekey(2)
	b.rekey(3) // and an owner who had not met the first begins that epoch as well
	a.rekey(4)
	h, g := a.note("sealed with the last key"), b.note("too")
	settle(x, a, b, late)
	for _, d := range s.desks {
		d.wants(h)
		d.wants(g)
		if n := d.aside(replicate.WhyNoKey); n > 0 || !d.b.Standing().Level {
			t.Errorf("%d segments wait for a key; standing %+v", n, d.b.Standing())
		}
	}
}

func TestARunIsCutAroundWhatGivesAKey(t *testing.T) {
	s := newShop(t, 2, 2)
	a := s.desks[0]
	f := a.note("one").Feed
	before := a.has(f).Seq
	a.rekey(2)
	a.note("two")
	for after, want := range map[uint64]struct {
		last  uint64
		epoch uint32
	}{0: {4, 2}, 4: {5, 1}, 5: {before, 2}, before: {before + 1, 1}, before + 1: {before + 2, 2}} {
		p, err := segment.ReadPlace(a.seal(f, after))
		if err != nil || p.Last != want.last || p.Epoch != want.epoch {
			t.Errorf("behind %d: to %d with key %d (%v), want to %d with %d", after, p.Last, p.Epoch, err, want.last, want.epoch)
		}
	}
}

// The event that gives a key may stand behind events that are sealed with it.
func TestAnOwnersWordInASegmentThatWaitsIsHeeded_P12(t *testing.T) {
	s := newShop(t, 3, 2)
	a, b := s.desks[0], s.desks[1]
	f := a.note("one").Feed
	n := a.has(f).Seq
	b.takes(s.sealed(a.key, a.run(f)[:n-1]), 0)
	a.rekey(2)
	first := a.seal(f, n-1) // with the new key
	if p, _ := segment.ReadPlace(first); p.Last != n || p.Epoch != 2 {
		t.Fatalf("segment %s with key %d", p, p.Epoch)
	}
	b.takes(first, replicate.WhyNoKey)
	b.takes(a.seal(f, n), replicate.WhyGap)
	b.wants(a.has(f))
	if len(must(b.b.Inbox.Aside())) > 0 {
		t.Error("something is still aside")
	}
}

// What is learnt of a segment when its key comes is known like what is learnt
// when it comes itself.
func TestAHeadThatIsReadWhenItsKeyComesIsMissed_P9(t *testing.T) {
	s := newShop(t, 4, 2)
	a, b := s.desks[0], s.desks[1]
	set := a.rekey(2)
	a.restart()
	h := a.note("one")
	h = a.note("two")
	b.takes(a.seal(h.Feed, 1), replicate.WhyNoKey)
	b.takes(s.sealed(a.key, a.run(set.Feed)), 0)
	if got := b.missing(); !slices.Contains(got, h) || b.b.Standing().Level {
		t.Fatalf("missing %v, want %v", got, h)
	}
	b.restart()
	if got := b.missing(); !slices.Contains(got, h) {
		t.Fatalf("after a start anew missing %v, want %v", got, h)
	}
	b.takes(a.seal(h.Feed, 0), 0)
	if got := b.missing(); len(got) > 0 {
		t.Fatalf("missing %v", got)
	}
}

// branches gives two branches of a feed of a bench, each as the segment of what
// follows the common event, and then the last event of the second alone.
func branches(s *shop, d *desk) (common, first, second, tail []byte) {
	f := d.note("common").Feed
	n := d.has(f).Seq
	evs := d.run(f)
	common = s.sealed(d.key, evs)
	other := []events.Event{forge(evs[n-1].Head(), "theirs 1"), {}, {}}
	other[1] = forge(other[0].Head(), "theirs 2")
	other[2] = forge(other[1].Head(), "theirs 3")
	d.note("ours 1")
	return common, d.seal(f, n), s.sealed(d.key, other[:2]), s.sealed(d.key, other[2:])
}

// run are a feed's events.
func (d *desk) run(f events.FeedID) []events.Event {
	evs, _, err := replicate.OnLog(d.log).Run(eventlog.First(f), 0)
	return must(evs, err)
}

func forge(before events.Head, text string) events.Event {
	body := must(events.EncodeBody(events.Note{Text: text}))
	id := events.EventID{1, byte(before.Seq)}
	copy(id[8:], text)
	return must(events.Link(before, must(events.EncodeRecord(events.Envelope{ID: id, Kind: events.KindNote, About: unit}, body))))
}

// sealed is a segment that whoever has a bench's key and the shop's can make.
func (s *shop) sealed(key events.BenchKey, evs []events.Event) []byte {
	end := must(key.SignHead(s.id, evs[len(evs)-1].Head()))
	return must(segment.Seal(s.id, 1, segment.Key{1}, evs, end, eventstest.Seeded(evs[0].Seq)))
}

func TestF12_BothBranchesOfAFeedComeToEveryBench_P4_P6(t *testing.T) {
	s := newShop(t, 5, 5)
	common, first, second, tail := branches(s, s.desks[0])
	a, b, c := s.desks[1], s.desks[2], s.desks[3]
	for _, d := range []*desk{a, b} {
		d.takes(common, 0)
	}
	a.takes(first, 0)
	b.takes(second, 0)
	b.takes(tail, 0)
	x := benchtest.NewModel("A")
	settle(x, b) // the second branch comes first
	settle(x, a, b, c)
	ends := endsOf(a)
	for i, d := range []*desk{a, b, c, s.desks[4]} {
		settle(x, d)
		if got := endsOf(d); !slices.Equal(got, ends) || len(must(d.b.Inbox.Aside())) > 0 {
			t.Errorf("desk %d ends at %v, want %v; aside %d", i, got, ends, len(must(d.b.Inbox.Aside())))
		}
		if st := d.b.Standing(); !st.Level {
			t.Errorf("desk %d stands %+v", i, st)
		}
	}
	if len(ends) != 2 {
		t.Fatalf("it ends at %v", ends)
	}
	// What the exchange was given is not given again.
	last := x.State().Last
	settle(x, a, b, c)
	if got := x.State().Last; got != last {
		t.Errorf("%d messages more", got-last)
	}
}

// endsOf is where the branches of all feeds end that have more than one.
func endsOf(d *desk) (ends []events.Head) {
	all := map[events.FeedID][]events.Head{}
	for _, b := range d.log.Branches() {
		all[b.Feed] = append(all[b.Feed], b.Head)
	}
	for _, heads := range all {
		if len(heads) > 1 {
			ends = append(ends, heads...)
		}
	}
	slices.SortFunc(ends, func(a, b events.Head) int { return bytes.Compare(a.Hash[:], b.Hash[:]) })
	return ends
}

// What programs kept aside that took one branch alone is taken once one that
// takes both has the folder.
func TestF12_ABranchThatWasKeptAsideIsTaken_P8(t *testing.T) {
	s := newShop(t, 41, 2)
	common, first, second, tail := branches(s, s.desks[0])
	b := s.desks[1]
	b.takes(common, 0)
	b.takes(first, 0)
	var marks []replicate.Mark
	for _, payload := range [][]byte{second, tail} {
		digest := sha256.Sum256(payload)
		why := "another event stands in its place here"
		v := append([]byte{5, 0, 0, 0, 0, 0, 0, 0, 9, 0, byte(len(why))}, why...) // as they stand in a store of before
		marks = append(marks, replicate.Mark{Key: append([]byte{'q'}, digest[:16]...), Value: append(v, payload...)})
	}
	b.ok(replicate.OnLog(b.log).Receive(nil, nil, marks))
	b.restart()
	if got := endsOf(b); len(got) != 2 || len(must(b.b.Inbox.Aside())) > 0 {
		t.Errorf("ends at %v, aside %d", got, len(must(b.b.Inbox.Aside())))
	}
}

func TestF12_TheTailOfABranchWaitsForWhatLeadsToIt_P9(t *testing.T) {
	s := newShop(t, 6, 2)
	common, first, second, tail := branches(s, s.desks[0])
	b := s.desks[1]
	b.takes(common, 0)
	b.takes(first, 0)
	b.takes(tail, replicate.WhyGap)
	if len(b.missing()) != 1 {
		t.Fatalf("missing %v: what leads to the tail may come", b.missing())
	}
	b.takes(second, 0)
	if len(b.missing()) > 0 || len(must(b.b.Inbox.Aside())) > 0 || len(endsOf(b)) != 2 {
		t.Fatalf("missing %v, aside %d, ends at %v", b.missing(), len(must(b.b.Inbox.Aside())), endsOf(b))
	}
}

// Of a feed with two branches both ends are missed, and the one that is left when
// the other has come.
func TestF12_EachBranchIsMissedForItself_P9(t *testing.T) {
	s := newShop(t, 42, 2)
	common, first, second, tail := branches(s, s.desks[0])
	b := s.desks[1]
	heads := func(payload []byte) events.SignedHead {
		o, err := segment.Open(payload, s.id, func(uint32) (segment.Key, bool) { return segment.Key{1}, true })
		b.ok(err)
		return o.Head
	}
	b.ok(b.b.Inbox.Hear([]events.SignedHead{heads(first), heads(tail)}))
	b.restart()
	if got := b.missing(); len(got) != 2 {
		t.Fatalf("missing %v", got)
	}
	b.takes(common, 0)
	b.takes(second, 0)
	b.takes(tail, 0)
	b.restart()
	if got := b.missing(); len(got) != 1 || got[0] != heads(first).Head {
		t.Fatalf("missing %v, want the end of the first branch", got)
	}
	b.takes(first, 0)
	if got := b.missing(); len(got) > 0 || len(endsOf(b)) != 2 {
		t.Errorf("missing %v, ends at %v", got, endsOf(b))
	}
}

// cutInside is a bench that is retired in the middle of what it sends at once.
func cutInside(t *testing.T, seed uint64) (owner, sold, fresh *desk, cut events.Head) {
	s := newShop(t, seed, 3)
	owner, sold, fresh = s.desks[0], s.desks[1], s.desks[2]
	cut = sold.note("one")
	owner.takes(s.sealed(sold.key, sold.run(cut.Feed)), 0)
	sold.note("two")
	owner.retire(sold, cut)
	return owner, sold, fresh, cut
}

// A message that is kept aside gives nobody what counts of it.
func TestWhatCountsIsGivenThoughAMessageBeyondTheCutHoldsIt_P8_P12(t *testing.T) {
	owner, sold, fresh, cut := cutInside(t, 7)
	fresh.retire(sold, cut)
	x := benchtest.NewModel("A")
	settle(x, sold)
	settle(x, owner, fresh)
	fresh.wants(cut)
	owner.wants(cut)
	if !fresh.b.Standing().Level || !owner.b.Standing().Level {
		t.Errorf("stand %+v, %+v", owner.b.Standing(), fresh.b.Standing())
	}
}

// The thief of a retired laptop signs another branch that ends before the cut.
func TestF25_WhatDoesNotLeadToTheCutIsNotTaken_P12(t *testing.T) {
	owner, sold, _, cut := cutInside(t, 8)
	s := owner.shop
	evs := sold.run(cut.Feed)
	thief := s.sealed(sold.key, append(slices.Clone(evs[:2]), forge(evs[1].Head(), "nothing was wrong")))
	parts := [][]byte{s.sealed(sold.key, evs[:2]), s.sealed(sold.key, evs[2:4]), s.sealed(sold.key, evs[4:cut.Seq])}
	for name, order := range map[string][]int{"in order": {0, 1, 2}, "backwards": {2, 1, 0}, "the middle last": {0, 2, 1}} {
		t.Run(name, func(t *testing.T) {
			d := s.bench(20 + len(name))
			d.say(append(slices.Clone(s.facts), must(s.owner.Admit(s.id, d.id, "new", 9)), must(s.owner.SetKey(s.id, 1, events.ShopKey{1}, d.id)))...)
			d.retire(sold, cut)
			d.takes(thief, replicate.WhyUnknown)
			for i, n := range order {
				came, err := d.b.Bundle(parts[n], 0)
				if err != nil || i < 2 && came.Took > 0 && name != "backwards" { // there the thief's has what leads to the middle
					t.Fatalf("part %d: took %d (%v)", n, came.Took, err)
				}
			}
			d.wants(cut)
			if n := len(endsOf(d)); n > 0 {
				t.Errorf("%d ends", n)
			}
			if got := d.missing(); len(got) > 0 {
				t.Errorf("missing %v", got)
			}
		})
	}
}

// Who has a retired bench's key can sign any number; it must not hide what
// really is missing.
func TestF25_AHugeNumberOfARetiredBenchHidesNothing_P9(t *testing.T) {
	owner, sold, fresh, cut := cutInside(t, 9)
	s := owner.shop
	fresh.retire(sold, cut)
	far := events.Head{Feed: cut.Feed, Seq: 1 << 40, Hash: events.Hash{1}}
	evs := sold.run(cut.Feed)
	fresh.takes(s.sealed(sold.key, []events.Event{forge(far, "far")}), replicate.WhyGap)
	if got := fresh.missing(); len(got) > 0 {
		t.Errorf("waits for %v, which does not count", got)
	}
	fresh.takes(s.sealed(sold.key, evs[cut.Seq-1:cut.Seq]), replicate.WhyGap)
	if got := fresh.missing(); !slices.Contains(got, cut) {
		t.Errorf("missing %v, want %v", got, cut)
	}
}

func TestF20_AnExchangePutBackToAnEmptyCopyIsFilledAgain_P8_P9(t *testing.T) {
	s := newShop(t, 10, 1)
	a := s.desks[0]
	x := benchtest.NewModel("A")
	x.Copy()
	settle(x, a)
	if len(x.Messages) == 0 {
		t.Fatal("nothing was given")
	}
	x.PutBack(0)
	a.ok(a.b.Parted(a.now))
	a.meet(x)
	if a.b.Standing().Level {
		t.Error("level with an exchange that has nothing")
	}
	settle(x, a)
	if len(x.Messages) == 0 || !a.b.Standing().Level {
		t.Errorf("%d messages, standing %+v", len(x.Messages), a.b.Standing())
	}
}

// What a bench gave and did not read back may be gone when it meets again.
func TestF20_WhatWasGivenIsNotBelievedOverACut_P8_P9(t *testing.T) {
	s := newShop(t, 11, 1)
	a := s.desks[0]
	x := benchtest.NewModel("A")
	settle(x, a)
	x.Copy()
	h := a.note("given, and lost")
	for a.b.Busy() {
		a.ok(a.b.Do(x, func() int64 { return a.now }))
	}
	if last, _ := x.Last(h.Feed); last.Number < a.next {
		t.Fatal("nothing was given")
	}
	a.ok(a.b.Parted(a.now))
	x.PutBack(0)
	settle(x, a)
	fills(t, s, x, h)
}

// fills checks that an exchange alone gives a head to a bench with nothing.
func fills(t *testing.T, s *shop, x *benchtest.Model, h events.Head) {
	t.Helper()
	d := s.bench(40)
	d.say(append(slices.Clone(s.facts), must(s.owner.SetKey(s.id, 1, events.ShopKey{1}, d.id)))...)
	d.meet(x)
	d.readAll()
	d.wants(h)
}

// While an exchange that was put back is read again, the machine stops.
func TestF20_ACrashWhileReadingAgainLeavesNoSpotOfBefore_P8(t *testing.T) {
	for messages := range 4 {
		t.Run(fmt.Sprint(messages, " read"), func(t *testing.T) {
			s := newShop(t, 12, 2)
			a, b := s.desks[0], s.desks[1]
			x := benchtest.NewModel("A")
			settle(x, a)
			x.Copy()
			a.restart()
			h := a.note("on a feed that the copy does not have")
			settle(x, a, b)
			x.PutBack(0)
			last, _ := x.Last(a.log.Heads()[0].Feed)
			for range 5 { // it moves on past all that was read
				on := a.log.Heads()[0].Feed
				n, _ := x.Publish(on, last.Number, []byte("litter"))
				last.Number = n
			}
			a.ok(a.b.Parted(a.now))
			_, err := a.b.Meet(x.State(), a.now) // nobody asked before; its reader finds out, and begins at the first
			a.ok(err)
			a.at, a.next = x, 1
			for range messages {
				a.read()
			}
			a.crash()
			a.ok(a.b.Check())
			settle(x, a)
			fills(t, s, x, h)
		})
	}
}

func TestF21_AnExchangeWithoutItsLastMessageIsFilledAgainAndLevel_P8_P9(t *testing.T) {
	s := newShop(t, 13, 2)
	a, b := s.desks[0], s.desks[1]
	x := benchtest.NewModel("A")
	settle(x, a, b)
	h := b.note("lost there")
	settle(x, a, b)
	x.Lose(len(x.Messages) - 1)
	settle(x, a) // the bench that wrote it stays away
	fills(t, s, x, h)
	if !a.b.Standing().Level {
		t.Errorf("stands %+v", a.b.Standing())
	}
}

// A person saves something while a segment is on its way in.
func TestF12_WhatComesBesideABusyLogsOwnIsABranchAndStopsNothing_P10(t *testing.T) {
	s := newShop(t, 14, 2)
	d := s.desks[0]
	f := d.note("common").Feed
	n := d.has(f).Seq
	evs := d.run(f)
	theirs := s.sealed(d.key, []events.Event{forge(evs[n-1].Head(), "theirs")})
	d.quietly(events.Note{Text: "ours"})
	d.takes(theirs, 0)
	if h := d.note("after"); h.Feed == f {
		t.Error("goes on with a feed that has another writer")
	}
	x := benchtest.NewModel("A")
	settle(x, d)
	if got := d.b.Standing(); !got.Level {
		t.Errorf("what was saved meanwhile is not given: %+v", got)
	}
}

// What waits is tried when the log grows by other means as well.
func TestWhatWaitsIsTriedWhenTheLogGrowsByOtherMeans_P4(t *testing.T) {
	s := newShop(t, 15, 2)
	a, b := s.desks[0], s.desks[1]
	h := a.note("one")
	n := h.Seq
	h = a.note("two")
	b.takes(a.seal(h.Feed, n), replicate.WhyGap)
	evs := a.run(h.Feed)[:n]
	end := must(a.key.SignHead(s.id, evs[n-1].Head()))
	b.ok(replicate.OnLog(b.log).Receive(evs, []events.SignedHead{end}, nil))
	b.ok(b.b.Grew(b.now))
	b.wants(h)
}

// A laptop put back has the marks of its copy, so it reads again what it lost.
func TestF10_ALaptopPutBackGetsItsOwnEventsFromTheExchange_P4(t *testing.T) {
	s := newShop(t, 16, 1)
	a := s.desks[0]
	x := benchtest.NewModel("A")
	settle(x, a)
	old := a.disk.CrashClone(vfs.CrashCloneCfg{})
	h := a.note("after the copy")
	settle(x, a)
	a.ok(a.log.Close())
	a.disk = old
	a.open()
	settle(x, a)
	a.wants(h)
	if g := a.note("on"); g.Feed == h.Feed {
		t.Error("goes on with the feed it lost")
	}
}
