package replicate_test

import (
	"fmt"
	"testing"

	"oldhand/sync/replicate"
)

// A bench that nobody admitted so far wrote much. Each piece is kept aside, and all of
// it is there once it is known that it counts: by another bench's word, or by an
// owner's that stands in a later piece. So it is however little is gone through for
// each piece.
func TestMuchOfABenchNotAdmittedYetIsThereOnceItIs_P4(t *testing.T) {
	for _, most := range []int{0, 2, 1000} {
		for _, itself := range []bool{false, true} {
			t.Run(fmt.Sprint(most, " events, itself ", itself), func(t *testing.T) {
				t.Cleanup(replicate.LetLead(most))
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
				b.wants(end)
				if n := b.aside(replicate.WhyUnknown) + b.aside(replicate.WhyGap); n > 0 {
					t.Errorf("%d pieces are aside still", n)
				}
			})
		}
	}
}
