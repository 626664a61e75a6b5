package replicate_test

import (
	"fmt"
	"testing"

	"oldhand/events"
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
