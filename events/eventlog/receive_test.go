package eventlog_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/eventstest"
)

// sent is what a bench has to give to others: events of one feed and its head.
type sent struct {
	evs  []events.Event
	head events.SignedHead
}

// bench2 writes some events at the shop's second bench.
func bench2(t testing.TB, shop eventstest.Shop) (sent, *eventstest.Bench) {
	t.Helper()
	b := shop.Bench(t, 2)
	l := eventstest.Open(t, b.Options(nil, t.TempDir()+"/log"))
	for i := range 3 {
		eventstest.SaveNotes(t, l, unit, fmt.Sprintf("b%d", i), noteSize)
	}
	heads, err := l.SignedHeads()
	if err != nil {
		t.Fatal(err)
	}
	return sent{eventstest.All(t, l), heads[0]}, b
}

// receiver is the first bench of the shop, with nothing yet.
func receiver(t *testing.T, shop eventstest.Shop) *eventlog.Log {
	t.Helper()
	return eventstest.Open(t, shop.Bench(t, 1).Options(nil, t.TempDir()+"/log"))
}

// signedAt signs the head that ends with an event.
func signedAt(t testing.TB, b *eventstest.Bench, e events.Event) events.SignedHead {
	t.Helper()
	s, err := b.Key.SignHead(b.Shop.ID, e.Head())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestReceiveTakesAFeedWholeInPartsAndAgain_P4_P5(t *testing.T) {
	shop := eventstest.FoundShop(t, 90)
	from, b := bench2(t, shop)
	for size := 1; size <= len(from.evs); size++ {
		l := receiver(t, shop)
		for at := 0; at < len(from.evs); at += size {
			part := from.evs[max(0, at-2):min(at+size, len(from.evs))] // each part repeats some of the last
			if err := l.Receive(t.Context(), part, []events.SignedHead{signedAt(t, b, part[len(part)-1])}); err != nil {
				t.Fatalf("parts of %d: %v", size, err)
			}
		}
		if err := l.Receive(t.Context(), from.evs, []events.SignedHead{from.head}); err != nil {
			t.Fatalf("all again: %v", err)
		}
		mustSound(t, l, nil)
		if got := eventstest.All(t, l); len(got) != len(from.evs) {
			t.Fatalf("%d events", len(got))
		}
		heads, err := l.SignedHeads()
		if err != nil || len(heads) != 1 || heads[0] != from.head {
			t.Fatalf("shows heads %+v (%v)", heads, err)
		}
		// An older head that comes late takes nothing away.
		if err := l.Receive(t.Context(), from.evs[:1], []events.SignedHead{signedAt(t, b, from.evs[0])}); err != nil {
			t.Fatal(err)
		}
		if heads, _ := l.SignedHeads(); len(heads) != 1 || heads[0] != from.head {
			t.Fatalf("after an older head came it shows %+v", heads)
		}
	}
}

func TestF12_OtherEventInATakenPlaceIsRefusedWithBothHashes_P6(t *testing.T) {
	shop := eventstest.FoundShop(t, 91)
	from, b := bench2(t, shop)
	l := receiver(t, shop)
	if err := l.Receive(t.Context(), from.evs, []events.SignedHead{from.head}); err != nil {
		t.Fatal(err)
	}
	other := forge(t, from.evs[4], from.evs[5], "another history")
	err := l.Receive(t.Context(), []events.Event{other}, []events.SignedHead{signedAt(t, b, other)})
	wantRefused(t, err, events.ErrLink, other.Seq)
	for _, h := range []events.Hash{from.evs[5].Hash, other.Hash} {
		if !strings.Contains(err.Error(), h.Short()) {
			t.Errorf("%q does not name hash %s", err, h.Short())
		}
	}
	// The head of the other branch alone is refused as well: it would stand as
	// proof of events that are not here.
	wantRefused(t, l.Receive(t.Context(), nil, []events.SignedHead{signedAt(t, b, other)}), events.ErrLink, other.Seq)
	mustSound(t, l, nil)
	if heads, err := l.SignedHeads(); err != nil || heads[0] != from.head {
		t.Errorf("shows %+v (%v)", heads, err)
	}
}

// forge makes another event in an event's place.
func forge(t *testing.T, prev, e events.Event, text string) events.Event {
	t.Helper()
	body, err := events.EncodeBody(events.Note{Text: text + " 1"})
	if err != nil {
		t.Fatal(err)
	}
	env := e.Envelope
	env.ID[15] ^= 1
	record, err := events.EncodeRecord(env, body)
	if err != nil {
		t.Fatal(err)
	}
	other, err := events.Link(prev.Head(), record)
	if err != nil {
		t.Fatal(err)
	}
	return other
}

// An event can be checked, and its bytes changed before it is saved: they may
// lie in a buffer that is used again.
func TestReceiveRefusesBytesThatChangedSinceTheyWereLinked_P10(t *testing.T) {
	shop := eventstest.FoundShop(t, 97)
	from, _ := bench2(t, shop)
	for name, change := range map[string]func(*events.Event){
		"record": func(e *events.Event) { e.Record[len(e.Record)-1] ^= 1 },
		"hash":   func(e *events.Event) { e.Hash[7] ^= 1 },
	} {
		t.Run(name, func(t *testing.T) {
			head, linked := events.Head{Feed: from.evs[0].Feed}, []events.Event{}
			for _, e := range from.evs {
				e, err := events.Link(head, bytes.Clone(e.Record))
				if err != nil {
					t.Fatal(err)
				}
				head, linked = e.Head(), append(linked, e)
			}
			l := receiver(t, shop)
			last := &linked[len(linked)-1]
			change(last)
			wantRefused(t, l.Receive(t.Context(), linked, []events.SignedHead{from.head}), events.ErrLink, last.Seq)
		})
	}
}

func wantRefused(t *testing.T, err, why error, seq uint64) {
	t.Helper()
	var r *events.Refused
	if !errors.As(err, &r) || !errors.Is(err, why) || r.Seq != seq {
		t.Fatalf("got %v, want event %d refused: %v", err, seq, why)
	}
}

func TestReceiveRefusesAllOfWhatIsNotRight_P3_P10(t *testing.T) {
	shop := eventstest.FoundShop(t, 92)
	from, b := bench2(t, shop)
	last := from.evs[len(from.evs)-1]
	bent := from.evs[3]
	bent.Hash[0] ^= 1
	empty := from.evs[3]
	empty.Seq = 0
	badSignature := from.head
	badSignature.Signature[3] ^= 1
	otherShop, err := b.Key.SignHead(eventstest.FoundShop(t, 93).ID, last.Head())
	if err != nil {
		t.Fatal(err)
	}
	ahead := from.head
	ahead.Seq++
	aheadSigned, err := b.Key.SignHead(shop.ID, ahead.Head)
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		evs   []events.Event
		heads []events.SignedHead
		why   error
	}{
		"a gap":                           {append(from.evs[:2:2], from.evs[3:]...), []events.SignedHead{from.head}, events.ErrLink},
		"no beginning":                    {from.evs[1:], []events.SignedHead{from.head}, events.ErrLink},
		"a wrong hash":                    {append(from.evs[:3:3], bent), []events.SignedHead{from.head}, events.ErrLink},
		"number zero":                     {append(from.evs[:3:3], empty), []events.SignedHead{from.head}, events.ErrLink},
		"no head":                         {from.evs, nil, events.ErrSignature},
		"a head that covers a part":       {from.evs, []events.SignedHead{signedAt(t, b, from.evs[4])}, events.ErrSignature},
		"a bad signature":                 {from.evs, []events.SignedHead{badSignature}, events.ErrSignature},
		"a head signed for another shop":  {from.evs, []events.SignedHead{otherShop}, events.ErrSignature},
		"a head beyond the events":        {from.evs, []events.SignedHead{aheadSigned}, events.ErrLink},
		"a head of another event's hash":  {from.evs, []events.SignedHead{signedAt(t, b, forge(t, from.evs[len(from.evs)-2], last, "fork"))}, events.ErrLink},
		"a head of a feed that is absent": {nil, []events.SignedHead{from.head}, events.ErrLink},
	} {
		t.Run(name, func(t *testing.T) {
			l := receiver(t, shop)
			err := l.Receive(t.Context(), c.evs, c.heads)
			var r *events.Refused
			if !errors.As(err, &r) || !errors.Is(err, c.why) {
				t.Fatalf("got %v, want a refusal: %v", err, c.why)
			}
			// Nothing of it was taken, and the whole is taken afterwards.
			if n := len(eventstest.All(t, l)); n != 0 {
				t.Fatalf("%d events were taken", n)
			}
			if err := l.Receive(t.Context(), from.evs, []events.SignedHead{from.head}); err != nil {
				t.Fatal(err)
			}
			mustSound(t, l, nil)
		})
	}
}

// twins are two logs of one bench that write the same feed, as a machine and
// the copy of its running memory do.
func twins(t *testing.T, seed uint64) (p *laptop, theirs events.Event, head events.SignedHead) {
	t.Helper()
	p = newLaptop(t, seed)
	p.open()
	p.note("a")
	closeLog(t, p.log)
	copied := newLaptop(t, seed)
	copied.bench.Random = eventstest.Seeded(1000 + seed)
	copyFolder(t, filePath(p, "log"), filePath(copied, "log"))
	copyFile(t, filePath(p, "witness"), filePath(copied, "witness"))
	copied.open()
	theirs = copied.note("theirs")
	p.open()
	return p, theirs, signedAt(t, p.bench, theirs)
}

// A bench meets another event under a number of the feed it is writing: it
// refuses it, and writes nothing more on that feed, in this run or the next.
func TestF12_BenchLeavesAFeedThatHasAnotherWriter_P6(t *testing.T) {
	p, theirs, head := twins(t, 94)
	ours := p.note("ours")
	if ours.Feed != theirs.Feed || ours.Seq != theirs.Seq {
		t.Fatal("the twins do not write one feed")
	}
	wantNext(t, p.log, 1)
	err := p.log.Receive(t.Context(), []events.Event{theirs}, []events.SignedHead{head})
	wantRefused(t, err, events.ErrLink, theirs.Seq)
	closeLog(t, p.log)
	p.open()
	e := p.note("after")
	if e.Feed == ours.Feed {
		t.Error("goes on with the feed after reopening")
	}
	if b := p.begun(e.Feed); b.Parent != ours.Head() {
		t.Errorf("the parent is %+v", b.Parent)
	}
	if n := next(t, p.log, "tag"); n < 100 {
		t.Errorf("tag %d: the twin may have given it", n)
	}
}

func TestF12_BenchLeavesItsFeedAtOnce_P6(t *testing.T) {
	p, theirs, head := twins(t, 95)
	ours := p.note("ours")
	err := p.log.Receive(t.Context(), []events.Event{theirs}, []events.SignedHead{head})
	wantRefused(t, err, events.ErrLink, theirs.Seq)
	if e := p.note("after"); e.Feed == ours.Feed {
		t.Error("goes on with the feed")
	}
}

// The other writer's event comes before this bench wrote under that number: it
// is taken, and the feed is left to the other.
func TestF12_BenchDoesNotWriteBehindAnothersEvent_P6(t *testing.T) {
	p, theirs, head := twins(t, 96)
	if err := p.log.Receive(t.Context(), []events.Event{theirs}, []events.SignedHead{head}); err != nil {
		t.Fatal(err)
	}
	e := p.note("ours")
	if e.Feed == theirs.Feed {
		t.Errorf("wrote event %d behind the other's", e.Seq)
	}
	if b := p.begun(e.Feed); b.Parent != theirs.Head() {
		t.Errorf("the parent is %+v", b.Parent)
	}
}
