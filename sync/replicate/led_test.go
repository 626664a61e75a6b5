package replicate_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"oldhand/events"
	"oldhand/sync/benchtest"
	"oldhand/sync/replicate"
)

// A bench that nobody admitted so far wrote much. Each piece is kept aside, and all of
// it is there once it is known that it counts: by another bench's word, or by an
// owner's that stands in a later piece.
func TestMuchOfABenchNotAdmittedYetIsThereOnceItIs_P4(t *testing.T) {
	for _, itself := range []bool{false, true} {
		t.Run(fmt.Sprint("itself ", itself), func(t *testing.T) {
			s := newShop(t, 81, 1)
			b, late := s.desks[0], s.bench(9)
			late.say(s.facts...)
			for n := range 8 {
				late.note(fmt.Sprint("note ", n))
			}
			admits := must(s.owner.Admit(s.id, late.id, "late", 9))
			end := late.note("the last")
			if itself {
				end = late.say(admits)
			}
			evs := late.run(end.Feed)
			for i := range evs[:len(evs)-1] {
				b.takes(s.sealed(late.key, evs[i:i+1]), replicate.WhyUnknown)
			}
			if got := b.has(end.Feed); got.Seq > 0 {
				t.Fatalf("%d events of it are in the log", got.Seq)
			}
			if last := s.sealed(late.key, evs[len(evs)-1:]); itself {
				b.takes(last, 0)
			} else {
				b.takes(last, replicate.WhyUnknown)
				b.say(admits)
			}
			b.hasAll(end)
		})
	}
}

// What a retired bench wrote beyond its cut is kept aside too, and there once an owner
// says that it counts. So it is however little is gone through for each piece, and
// however the pieces came.
func TestMuchOfARetiredBenchIsThereOnceAnOwnerSaysSo_P12(t *testing.T) {
	for _, most := range []int{0, 2, 1000} {
		for name, order := range map[string][]int{"in order": {0, 1, 2, 3, 4, 5}, "backwards": {5, 4, 3, 2, 1, 0}, "the first last": {1, 2, 3, 5, 4, 0}} {
			t.Run(fmt.Sprint(most, " events, ", name), func(t *testing.T) {
				t.Cleanup(replicate.LetLead(most))
				s := newShop(t, 82, 2)
				b, sold := s.desks[0], s.desks[1]
				cut := sold.note("counts")
				b.takes(s.sealed(sold.key, sold.run(cut.Feed)), 0)
				b.retire(sold, cut)
				for n := range order {
					sold.note(fmt.Sprint("note ", n))
				}
				behind := sold.run(cut.Feed)[cut.Seq:]
				for _, i := range order {
					came, err := b.b.Bundle(s.sealed(sold.key, behind[i:i+1]), 0)
					if err != nil || came.Took > 0 {
						t.Fatalf("piece %d: took %d (%v)", i, came.Took, err)
					}
				}
				end := behind[len(behind)-1].Head()
				b.release(sold, end)
				b.hasAll(end)
			})
		}
	}
}

// hasAll demands all up to a head, and that nothing waits aside any more.
func (d *desk) hasAll(end events.Head) {
	d.shop.t.Helper()
	d.wants(end)
	if n := d.aside(replicate.WhyUnknown) + d.aside(replicate.WhyGap); n > 0 {
		d.shop.t.Errorf("%d pieces are aside still", n)
	}
}

// Pieces that lead to one event in two ways, again and again, are gone through once
// each: whoever has a retired bench's key could make anybody's reading take for ever.
func TestF25_ManyWaysToOneEventAreGoneOnce_P12_P14(t *testing.T) {
	const steps = 8
	s := newShop(t, 83, 2)
	d, sold := s.desks[0], s.desks[1]
	n := int(sold.note("here").Seq)
	for i := range 2*steps + 2 {
		sold.note(fmt.Sprint("note ", i))
	}
	evs := sold.run(sold.wrote())
	d.takes(s.sealed(sold.key, evs[:n]), 0)
	end := evs[len(evs)-1].Head()
	d.retire(sold, end)
	log := &counting{Log: replicate.OnLog(d.log)}
	d.b = must(replicate.NewBench(log, s.id, d.key, d.random))
	for at := n; at < n+2*steps; at += 2 {
		for _, piece := range [][]events.Event{evs[at : at+2], evs[at : at+1], evs[at+1 : at+2]} {
			d.takes(s.sealed(sold.key, piece), replicate.WhyUnknown)
		}
	}
	log.marks = 0
	d.takes(s.sealed(sold.key, evs[n:n+1]), replicate.WhyUnknown) // all ways lead on from there
	if log.marks > 10*steps {
		t.Errorf("marks were read %d times for %d pieces", log.marks, 3*steps)
	}
	d.takes(s.sealed(sold.key, evs[n+2*steps:]), 0)
	d.wants(end)
	d.restart() // what is here and aside is let go of then
	d.hasAll(end)
}

// counting is a log that counts how often marks are read.
type counting struct {
	replicate.Log
	marks int
}

func (c *counting) Marks(prefix []byte, fn func(k, v []byte) error) error {
	c.marks++
	return c.Log.Marks(prefix, fn)
}

// What leads to a piece stands in two that are kept aside, and the first can't be read.
func TestWhatLeadsToAPieceIsLookedForInAllThatIsAside_P12(t *testing.T) {
	s := newShop(t, 84, 2)
	d, sold := s.desks[0], s.desks[1]
	n := sold.note("here").Seq
	for i := range 5 {
		sold.note(fmt.Sprint("note ", i))
	}
	evs := sold.run(sold.wrote())
	w := keeping{s, sold, d, evs[n+3].Head()}
	theirs := forge(evs[n+2].Head(), "what counts")
	d.takes(s.sealed(sold.key, evs[:n]), 0)
	d.retire(sold, theirs.Head())
	told := must(s.owner.SetKey(s.id, 2, events.ShopKey{2}, d.id))
	d.b = must(replicate.NewBench(replicate.OnLog(d.log), s.id, d.key, d.random, told))
	d.takes(w.behind(n, 2, 2), replicate.WhyUnknown)                        // of the second key
	d.takes(s.sealed(sold.key, evs[n+1:]), replicate.WhyUnknown)            // what comes first is not in it
	d.takes(s.sealed(sold.key, evs[n:n+2]), replicate.WhyUnknown)           // and nothing behind in this
	untold := must(replicate.NewInbox(replicate.OnLog(d.log), s.id, d.key)) // without that key
	came, err := untold.Take(s.sealed(sold.key, []events.Event{theirs}), 0, nil)
	if d.ok(err); came.Took != 4 {
		t.Errorf("it came as %+v", came)
	}
	d.wants(theirs.Head())
}

// The end of a retired bench's feed counts, and much that leads to it stands in a piece
// whose end does not: nobody signed anything between, so that it can't be given to an
// exchange in one message. That is said, and what else there is is given.
func TestARunThatIsTooLongForAnExchangeIsSaidAndStopsNothing_P9(t *testing.T) {
	s := newShop(t, 85, 2)
	d, sold := s.desks[0], s.desks[1]
	for range 24 { // a piece takes some 30 of them
		sold.note(strings.Repeat("long ", events.MaxText/5))
	}
	f := sold.wrote()
	aside := sold.run(f)
	at := aside[len(aside)-2].Head()
	evs := []events.Event{}
	for range 24 {
		evs = append(evs, forge(at, strings.Repeat("more ", events.MaxText/5)))
		at = evs[len(evs)-1].Head()
	}
	d.retire(sold, at)
	d.takes(s.sealed(sold.key, aside), replicate.WhyUnknown)
	d.takes(s.sealed(sold.key, evs), 0)
	d.wants(at)
	own := d.note("to give")
	x := benchtest.NewModel("A")
	d.meet(x)
	d.gives(x)
	st := d.b.Standing()
	if words := st.Stuck[f]; st.Level || len(st.Stuck) != 1 || !strings.Contains(words, "too long") || !slices.Equal(st.Owing, []events.Head{at}) {
		t.Errorf("stands %+v, want run %s stuck", st, f.Short())
	}
	fills(t, s, x, own)
}
