package eventlog_test

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"oldhand/events"
	"oldhand/events/eventstest"
)

// Copies are made and put back at random, with starts of the machine and lost
// witnesses between. Over all lives, no two events share a place, no number is
// given twice, and every branch says where it began. The model is a list of
// all that was ever written.
func TestF10_RandomLivesNeverShareAPlace_P6(t *testing.T) {
	seeds := 6
	if testing.Short() {
		seeds = 2
	}
	for seed := range uint64(seeds) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) { randomLives(t, seed) })
	}
}

type place struct {
	feed events.FeedID
	seq  uint64
}

func randomLives(t *testing.T, seed uint64) {
	rng := rand.New(rand.NewPCG(seed, 10))
	p := newLaptop(t, 87+seed)
	written, tags := map[place]events.Hash{}, map[uint32]bool{}
	var backups []string
	for step := range 30 {
		p.open()
		for range rng.IntN(3) {
			p.note(fmt.Sprintf("%d-%d", seed, step))
			if rng.IntN(2) == 0 {
				n := next(t, p.log, "tag")
				if tags[n] {
					t.Fatalf("step %d: tag %d is given twice", step, n)
				}
				tags[n] = true
			}
		}
		for _, e := range eventstest.All(t, p.log) {
			if h, ok := written[place{e.Feed, e.Seq}]; ok && h != e.Hash {
				t.Fatalf("step %d: two events are number %d of feed %s", step, e.Seq, e.Feed.Short())
			}
			written[place{e.Feed, e.Seq}] = e.Hash
		}
		for _, h := range p.log.Heads() {
			if parent := p.begun(h.Feed).Parent; parent.Seq > 0 && written[place{parent.Feed, parent.Seq}] != parent.Hash {
				t.Fatalf("step %d: feed %s has a parent that was never written", step, h.Feed.Short())
			}
		}
		closeLog(t, p.log)
		backups = p.fate(rng, backups)
	}
}

// fate is what happens to a laptop between two openings.
func (p *laptop) fate(rng *rand.Rand, backups []string) []string {
	switch rng.IntN(5) {
	case 0:
		return append(backups, p.backUp())
	case 1, 2:
		if len(backups) > 0 {
			p.putBack(backups[rng.IntN(len(backups))])
		}
	case 3:
		p.boot = fmt.Sprint("start ", rng.IntN(1000))
	case 4:
		_ = os.Remove(filepath.Join(p.folder, "witness")) // it may be lost already
	}
	return slices.Clone(backups)
}
