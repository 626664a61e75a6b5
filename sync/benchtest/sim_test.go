package benchtest_test

import (
	"flag"
	"fmt"
	"testing"

	"oldhand/sync/benchtest"
)

var (
	seeds = flag.Int("sim.seeds", 100, "how many worlds are run")
	first = flag.Uint64("sim.first", 1, "the first world's seed")
	tell  = flag.Bool("sim.tell", false, "tell what happens in each world")
)

// run lets a world go on for a while and heal, and gives its trace.
func run(seed uint64, steps int, tell func(string)) (trace uint64, err error) {
	w, err := benchtest.NewWorld(seed)
	if err != nil {
		return 0, err
	}
	defer w.Close()
	w.Log = tell
	for i := range steps {
		if err := w.Step(); err != nil {
			return 0, fmt.Errorf("step %d: %w", i, err)
		}
	}
	return w.Trace(), w.Heal()
}

// Whatever happens, in the end every bench has every event that was anywhere.
func TestWorldsComeToHoldTheSame_P1_P4_P8_P9_P16(t *testing.T) {
	for seed := *first; seed < *first+uint64(*seeds); seed++ {
		var log func(string)
		if *tell {
			log = func(line string) { fmt.Println(line) }
		}
		once, err := run(seed, 150, log)
		if err != nil {
			t.Fatalf("seed %d (run it with -sim.first %d -sim.seeds 1 -sim.tell): %v", seed, seed, err)
		}
		if again, err := run(seed, 150, nil); again != once {
			t.Fatalf("seed %d ran otherwise the second time (%v)", seed, err)
		}
	}
}
