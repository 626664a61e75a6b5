package benchtest_test

import (
	"errors"
	"flag"
	"fmt"
	"slices"
	"testing"
	"testing/cryptotest"

	"oldhand/sync/benchtest"
)

var (
	seeds = flag.Int("sim.seeds", 0, "how many worlds are run; 0 for as many as a push has time for")
	first = flag.Uint64("sim.first", 1, "the first world's seed")
	steps = flag.Int("sim.steps", 200, "how many steps a world has before it heals")
	again = flag.Int("sim.again", 10, "every how many worlds one is run twice and must do the same; 0 for none")
	tell  = flag.Bool("sim.tell", false, "tell what happens in each world")
)

// run lets a world go on for a while and heal, and gives its trace.
func run(t *testing.T, seed uint64, steps int, tell func(string)) (trace uint64, err error) {
	cryptotest.SetGlobalRandom(t, seed) // keys are wrapped with the system's randomness
	w, err := benchtest.NewWorld(seed)
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, w.Close()) }()
	w.Log = tell
	for i := range steps {
		if err := w.Step(); err != nil {
			return 0, fmt.Errorf("step %d: %w", i, err)
		}
	}
	err = w.Heal()
	return w.Trace(), err
}

// rare are worlds that once showed what hardly any other does: a thief's branch that
// counted on while the one that an owner named came in; a message that went bad
// again after its exchange was put back; a stricter retirement after a first.
var rare = []uint64{3235, 3341, 5881}

// Whatever happens, in the end every bench has every event that was anywhere.
func TestWorldsComeToHoldTheSame_P1_P3_P4_P6_P8_P9_P10_P12_P16(t *testing.T) {
	n := uint64(*seeds)
	if n == 0 {
		n = 60
		if testing.Short() {
			n = 12
		}
	}
	list := slices.Clone(rare)
	if *seeds > 0 {
		list = nil
	}
	for seed := *first; seed < *first+n; seed++ {
		list = append(list, seed)
	}
	for _, seed := range list {
		var log func(string)
		if *tell {
			log = func(line string) { fmt.Println(line) }
		}
		once, err := run(t, seed, *steps, log)
		if err != nil {
			t.Errorf("seed %d (run it with -sim.first %d -sim.seeds 1 -sim.tell): %v", seed, seed, err)
			continue
		}
		if *again == 0 || seed%uint64(*again) != 0 {
			continue
		}
		if twice, err := run(t, seed, *steps, nil); twice != once {
			t.Errorf("seed %d ran otherwise the second time (%v)", seed, err)
		}
	}
}
