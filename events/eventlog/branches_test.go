package eventlog_test

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"

	"github.com/cockroachdb/pebble/v2/vfs"
	"github.com/cockroachdb/pebble/v2/vfs/errorfs"
)

// onwards makes n notes behind an event, as its bench signs them.
func onwards(t testing.TB, b *eventstest.Bench, at events.Event, text string, n int) sent {
	t.Helper()
	var r sent
	for i := range n {
		body, err := events.EncodeBody(events.Note{Text: text})
		if err != nil {
			t.Fatal(err)
		}
		id := events.EventID{1, byte(at.Seq), byte(i)}
		copy(id[3:], text)
		record, err := events.EncodeRecord(events.Envelope{ID: id, Kind: events.KindNote, About: unit}, body)
		if err != nil {
			t.Fatal(err)
		}
		if at, err = events.Link(at.Head(), record); err != nil {
			t.Fatal(err)
		}
		r.evs = append(r.evs, at)
	}
	r.head = signedAt(t, b, at)
	return r
}

// tree is a feed of three branches: one that leaves the trunk in its middle, one
// that leaves that, and the trunk.
func tree(t testing.TB, shop eventstest.Shop) (trunk, second, third sent) {
	t.Helper()
	from, b := bench2(t, shop)
	second = onwards(t, b, from.evs[4], "second", 4)
	third = onwards(t, b, second.evs[1], "third", 5)
	return from, second, third
}

func takeRuns(t testing.TB, l *eventlog.Log, runs ...sent) {
	t.Helper()
	for _, r := range runs {
		if err := l.ReceiveBranch(bg, r.evs, []events.SignedHead{r.head}, nil); err != nil {
			t.Fatal(err)
		}
	}
}

func viewOf(t testing.TB, l *eventlog.Log, fn func(*eventlog.View) error) {
	t.Helper()
	v, err := l.View()
	if err == nil {
		err = errors.Join(fn(v), err)
		v.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
}

// wantTree checks that all of a tree is here, whichever way it is looked at.
func wantTree(t *testing.T, l *eventlog.Log, runs ...sent) {
	t.Helper()
	want := map[events.Hash]bool{}
	var ends []events.Head
	for _, r := range runs {
		ends = append(ends, r.head.Head)
		for _, e := range r.evs {
			want[e.Hash] = true
		}
	}
	viewOf(t, l, func(v *eventlog.View) error {
		scrubbed, err := v.Scrub(nil)
		if err != nil || int(scrubbed.Events) != len(want) {
			t.Errorf("a scrub walked %d events of %d (%v)", scrubbed.Events, len(want), err)
		}
		walked := map[events.Hash]bool{}
		for _, b := range l.Branches() {
			if err := v.BranchEvents(b.Branch, 0, func(e events.Event) (bool, error) { walked[e.Hash] = true; return true, nil }); err != nil {
				return err
			}
		}
		each := map[events.Hash]bool{}
		if err := v.Each(func(e events.Event) error { each[e.Hash] = true; return nil }); err != nil {
			return err
		}
		listed, err := v.Events(unit)
		if err != nil {
			return err
		}
		if len(listed) != max(0, len(want)-1) || len(each) != len(want) || len(walked) != len(want) {
			t.Errorf("listed %d, each %d, walked %d of %d events", len(listed), len(each), len(walked), len(want))
		}
		for _, e := range listed {
			if !want[e.Hash] {
				t.Errorf("event %d (%s) is listed", e.Seq, e.Hash.Short())
			}
		}
		heads, err := v.CountedHeads()
		slices.SortFunc(ends, func(a, b events.Head) int { return bytes.Compare(a.Hash[:], b.Hash[:]) })
		slices.SortFunc(heads, func(a, b events.Head) int { return bytes.Compare(a.Hash[:], b.Hash[:]) })
		if !slices.Equal(heads, ends) {
			t.Errorf("ends at %v, want %v", heads, ends)
		}
		return err
	})
}

// passedOn gives all of a log to another, by runs with their signed heads alone.
func passedOn(t *testing.T, from, to *eventlog.Log) {
	t.Helper()
	viewOf(t, from, func(v *eventlog.View) error {
		for _, b := range from.Branches() {
			for after := b.Base.Seq; after < b.Head.Seq; {
				evs, end, err := v.BranchRun(b.Branch, after)
				if err != nil || len(evs) == 0 {
					return fmt.Errorf("%d events behind %d (%w)", len(evs), after, err)
				}
				takeRuns(t, to, sent{evs, end})
				after = end.Seq
			}
		}
		return nil
	})
}

func TestF12_AllBranchesOfAFeedAreKeptWhicheverCameFirst_P4_P5_P6(t *testing.T) {
	shop := eventstest.FoundShop(t, 150)
	trunk, second, third := tree(t, shop)
	whole := func(r sent, before ...events.Event) sent { return sent{slices.Concat(before, r.evs), r.head} }
	orders := map[string][]sent{
		"the trunk first":   {trunk, second, third},
		"the second first":  {whole(second, trunk.evs[:5]...), trunk, third},
		"the third first":   {whole(third, append(slices.Clone(trunk.evs[:5]), second.evs[:2]...)...), second, trunk},
		"again and again":   {trunk, trunk, second, second, whole(third, second.evs[:2]...), trunk, third, second},
		"the second halved": {trunk, onwardsOf(t, shop, second, 2), second, third},
	}
	for name, order := range orders {
		t.Run(name, func(t *testing.T) {
			b := shop.Bench(t, 1)
			o := b.InFolder(t.TempDir())
			l := eventstest.Open(t, o)
			takeRuns(t, l, order...)
			wantTree(t, l, trunk, second, third)
			if n := len(l.Branches()); n != 3 || len(l.Forks()) != 2 || len(l.Heads()) != 1 {
				t.Errorf("%d branches, %d beside the first, %d feeds", n, len(l.Forks()), len(l.Heads()))
			}
			closeLog(t, l)
			l = eventstest.Open(t, o)
			wantTree(t, l, trunk, second, third)
			to := eventstest.Open(t, shop.Bench(t, 3).Options(nil, t.TempDir()+"/log"))
			passedOn(t, l, to)
			wantTree(t, to, trunk, second, third)
		})
	}
}

// onwardsOf is the first events of a run alone.
func onwardsOf(t *testing.T, shop eventstest.Shop, r sent, n int) sent {
	t.Helper()
	return sent{r.evs[:n], signedAt(t, shop.Bench(t, 2), r.evs[n-1])}
}

func TestF12_EventsAreFoundAndFollowedAcrossBranches(t *testing.T) {
	shop := eventstest.FoundShop(t, 151)
	trunk, second, third := tree(t, shop)
	l := receiver(t, shop)
	takeRuns(t, l, trunk, second, third)
	feed := trunk.head.Feed
	root := func(r sent) eventlog.Branch { return eventlog.Branch{Feed: feed, Root: r.evs[0].Hash} }
	viewOf(t, l, func(v *eventlog.View) error {
		for want, e := range map[eventlog.Branch]events.Event{eventlog.First(feed): trunk.evs[6], root(second): second.evs[3], root(third): third.evs[0]} {
			if got, ok, err := v.Find(e.Head()); err != nil || !ok || got != want {
				t.Errorf("event %d is found on %v (%v, %v), want %v", e.Seq, got, ok, err, want)
			}
		}
		elsewhere := second.evs[0].Head()
		elsewhere.Seq++
		if _, ok, err := v.Find(elsewhere); ok || err != nil {
			t.Errorf("finds an event under another number (%v)", err)
		}
		got, err := v.Along(3, third.head.Head)
		reach := func(b eventlog.Branch, base, head events.Head) eventlog.Reach {
			return eventlog.Reach{Branch: b, Base: base, Head: head}
		}
		want := []eventlog.Stretch{
			{Reach: reach(eventlog.First(feed), events.Head{Feed: feed}, trunk.evs[4].Head()), From: 3},
			{Reach: reach(root(second), trunk.evs[4].Head(), second.evs[1].Head()), From: 6},
			{Reach: reach(root(third), second.evs[1].Head(), third.head.Head), From: 8},
		}
		if !slices.Equal(got, want) {
			t.Errorf("the way to the third's end is %v, want %v", got, want)
		}
		if got, _ := v.Along(8, third.head.Head); !slices.Equal(got, want[2:]) {
			t.Errorf("the way from its own first is %v", got)
		}
		return err
	})
}

// The head of one branch proves nothing of another, whatever its number.
func TestF12_AHeadOfOneBranchCoversNoOther_P10(t *testing.T) {
	shop := eventstest.FoundShop(t, 152)
	trunk, second, third := tree(t, shop)
	l := receiver(t, shop)
	takeRuns(t, l, trunk)
	err := l.ReceiveBranch(t.Context(), second.evs, []events.SignedHead{trunk.head}, nil)
	wantRefused(t, err, events.ErrSignature, second.head.Seq)
	err = l.ReceiveBranch(t.Context(), third.evs, []events.SignedHead{third.head}, nil)
	wantRefused(t, err, events.ErrLink, third.evs[0].Seq) // what it leaves is not here
	wantTree(t, l, trunk)
	if err := l.Receive(t.Context(), second.evs, []events.SignedHead{second.head}); !errors.Is(err, events.ErrLink) {
		t.Errorf("a branch was begun by who did not mean to: %v", err)
	}
	wantTree(t, l, trunk)
}

// A store of the first format that gets no branch stays one that programs from before
// branches go on with; one that gets one is refused by those, which would not see it.
func TestF27_OnlyABranchTakesTheStoreFromOlderPrograms_P11(t *testing.T) {
	shop := eventstest.FoundShop(t, 153)
	trunk, second, _ := tree(t, shop)
	l := eventstest.Open(t, eventlog.Older(shop.Bench(t, 1).Options(vfs.NewMem(), "log")))
	takeRuns(t, l, trunk)
	if got := l.GetRaw(t, []byte("nformat")); !bytes.Equal(got, []byte{1}) {
		t.Errorf("format %x without a branch", got)
	}
	takeRuns(t, l, second)
	if got := l.GetRaw(t, []byte("nformat")); !bytes.Equal(got, []byte{2}) {
		t.Errorf("format %x with a branch", got)
	}
	made := receiver(t, shop)
	for _, r := range []sent{trunk, second} {
		takeRuns(t, made, r)
		if got := made.GetRaw(t, []byte("nformat")); !bytes.Equal(got, []byte{eventlog.StoreFormat}) {
			t.Errorf("format %x of a store that was just made", got)
		}
	}
}

func TestF12_ABenchLeavesItsFeedWhenAnotherBranchOfItComes_P6(t *testing.T) {
	l, b, folder := eventstest.InTemp(t, 154)
	eventstest.SaveNotes(t, l, unit, "ours", 3)
	own := eventstest.All(t, l)
	theirs := onwards(t, b, own[1], "theirs", 3)
	takeRuns(t, l, theirs)
	closeLog(t, l)
	l = eventstest.Open(t, b.InFolder(folder)) // the machine was not started anew
	eventstest.SaveNotes(t, l, unit, "after", 1)
	if n := len(l.Heads()); n != 2 {
		t.Fatalf("%d feeds: it goes on with one that has another writer", n)
	}
	if n := len(l.Branches()); n != 3 {
		t.Errorf("%d branches", n)
	}
}

// What counts of a feed is cut by branch, and where it ends is the same whichever
// branch came first.
func TestF12_WhatCountsOfBranchesIsTheSameWhicheverCameFirst_P12(t *testing.T) {
	shop := eventstest.FoundShop(t, 155)
	trunk, second, third := tree(t, shop)
	feed := trunk.head.Feed
	one, two := receiver(t, shop), eventstest.Open(t, shop.Bench(t, 3).Options(nil, t.TempDir()+"/log"))
	takeRuns(t, one, trunk, second, third)
	takeRuns(t, two, sent{append(slices.Clone(trunk.evs[:5]), second.evs...), second.head}, trunk, third)
	counted := second.evs[2].Head() // behind where the third leaves it
	cuts := map[*eventlog.Log]map[eventlog.Branch]uint64{
		one: {eventlog.First(feed): 5, {Feed: feed, Root: second.evs[0].Hash}: counted.Seq, {Feed: feed, Root: third.evs[0].Hash}: 0},
		two: {eventlog.First(feed): counted.Seq, {Feed: feed, Root: trunk.evs[5].Hash}: 5, {Feed: feed, Root: third.evs[0].Hash}: 7},
	}
	for l, c := range cuts {
		if err := l.SetCuts(c, false); err != nil {
			t.Fatal(err)
		}
		listed, walked, raw := readings(t, l)
		if listed != int(counted.Seq)-1 || walked != int(counted.Seq) || raw != len(trunk.evs)+len(second.evs)+len(third.evs)-1 {
			t.Errorf("listed %d, walked %d of %d", listed, walked, raw)
		}
		viewOf(t, l, func(v *eventlog.View) error {
			heads, err := v.CountedHeads()
			if !slices.Equal(heads, []events.Head{counted}) {
				t.Errorf("what counts ends at %v, want %v", heads, counted)
			}
			return err
		})
	}
}

// Rows that don't agree are damage, and not a shop with less in it.
func TestF02_ARowOfABranchThatIsDamagedIsFound(t *testing.T) {
	shop := eventstest.FoundShop(t, 156)
	trunk, second, _ := tree(t, shop)
	for name, row := range map[string]struct{ k, v []byte }{
		"gone":           {[]byte{'b', 0, 0, 0, 1}, nil},
		"short":          {[]byte{'b', 0, 0, 0, 1}, []byte{1, 2}},
		"of no feed":     {[]byte{'b', 0, 0, 0, 7}, make([]byte, 76)},
		"leaves another": {[]byte{'b', 0, 0, 0, 1}, slices.Concat([]byte{0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 4}, trunk.evs[3].Hash[:], second.evs[0].Hash[:])},
		"leaves itself":  {[]byte{'b', 0, 0, 0, 1}, slices.Concat([]byte{0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 0, 5}, trunk.evs[4].Hash[:], second.evs[0].Hash[:])},
	} {
		t.Run(name, func(t *testing.T) {
			o := shop.Bench(t, 1).Options(nil, t.TempDir()+"/log")
			l := eventstest.Open(t, o)
			takeRuns(t, l, trunk, second)
			if err := l.PutRaw(row.k, row.v); err != nil {
				t.Fatal(err)
			}
			closeLog(t, l)
			l, err := eventlog.Open(o)
			if err == nil {
				viewOf(t, l, func(v *eventlog.View) error { _, err = v.Scrub(nil); return nil })
				closeLog(t, l)
			}
			wantErr(t, err, eventlog.ErrDamaged)
		})
	}
}

// A power cut at any operation of the disk leaves a branch whole or absent, and
// the store readable either way.
func TestF01_CrashAtEveryDiskOperationWhileBranchesCome_P1_P3(t *testing.T) {
	shop := eventstest.FoundShop(t, 157)
	trunk, second, third := tree(t, shop)
	b := shop.Bench(t, 1)
	steps := [][]sent{nil, {trunk}, {trunk, second}, {trunk, second, third}}
	disk := vfs.NewCrashableMem()
	var mu sync.Mutex // the store also works on goroutines of its own
	acked, ops := 0, 0
	check := func(copied *vfs.MemFS, atLeast, op int) {
		l, err := eventlog.Open(eventlog.Tiny(b.Options(copied, "log")))
		if err != nil {
			t.Fatalf("operation %d: %v", op, err)
		}
		defer l.Close()
		n := len(l.Branches())
		if n < atLeast {
			t.Fatalf("operation %d: %d branches, %d were saved", op, n, atLeast)
		}
		wantTree(t, l, steps[n]...)
		takeRuns(t, l, trunk, second, third)
		wantTree(t, l, trunk, second, third)
	}
	type point struct {
		disk    *vfs.MemFS
		atLeast int
	}
	var points []point
	fs := before(disk, func(errorfs.Op) {
		mu.Lock()
		defer mu.Unlock()
		ops++
		for _, percent := range []int{0, 50, 100} {
			points = append(points, point{disk.CrashClone(vfs.CrashCloneCfg{UnsyncedDataPercent: percent, RNG: rand.New(rand.NewPCG(157, uint64(ops<<8+percent)))}), acked})
		}
	})
	l, err := eventlog.Open(eventlog.Tiny(b.Options(fs, "log")))
	if err != nil {
		t.Fatal(err)
	}
	for i, r := range []sent{trunk, second, third} {
		takeRuns(t, l, r)
		mu.Lock()
		acked = i + 1
		mu.Unlock()
		if err := l.Flush(); err != nil {
			t.Fatal(err)
		}
	}
	closeLog(t, l)
	if len(points) < 60 {
		t.Fatalf("%d points: too few to mean anything", len(points))
	}
	for i, p := range points {
		check(p.disk, p.atLeast, i/3+1)
	}
	t.Logf("%d crash points", len(points))
}
