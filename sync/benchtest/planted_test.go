//go:build planted

package benchtest_test

import (
	"flag"
	"testing"

	"oldhand/sync/replicate/planted"
)

var bug = flag.String("sim.bug", "", "the one bug that is planted; empty for all, one after the other")

// bugs are those that the worlds catch. One more, "spots outlive what they are
// of", takes a crash within the few messages of a second reading, which hardly
// any world has; the tests of package replicate catch it:
//
//	OLDHAND_PLANT="spots outlive what they are of" go test -tags planted ./sync/replicate -run F20
var bugs = []string{
	"a cursor without its epoch",
	"level by the cursor alone",
	"sent again blindly",
	"a gap is taken",
	"the hash before is not looked at",
	"who is admitted is not looked at",
	"what a retired bench wrote beyond the cut is taken",
	"the spot moves over a hole",
	"nothing is kept aside",
	"nothing is tried again",
	"pauses by the clock on the wall",
	"what is kept aside moves the spot",
	"marks go before the events",
	"a feed is gone on with after a restore",
	"what was posted is believed over a cut",
	"a key is sealed with itself",
	"an owner's word aside is not heeded",
	"an epoch has one key",
	"a busy log stops reading",
	"a number proves a retired bench's events",
	"the second branch is kept aside",
	"a branch is given to nobody",
	"branches are told apart by nobody",
	"a retired bench's branches all count",
	"what leads to what counts must count by itself",
	"a message that went bad is passed over",
	"marks do not wait for what is held",
}

// mostSeeds is within how many worlds a planted bug must show.
const mostSeeds = 300

// The worlds catch every bug of the list.
func TestPlantedBugsAreCaught(t *testing.T) {
	for _, name := range bugs {
		if *bug != "" && *bug != name {
			continue
		}
		t.Run(name, func(t *testing.T) {
			planted.Chosen = name
			defer func() { planted.Chosen = "" }()
			for seed := *first; seed < *first+mostSeeds; seed++ {
				if _, err := run(t, seed, *steps, nil); err != nil {
					t.Logf("caught by seed %d, after %d worlds: %.200v", seed, seed-*first+1, err)
					return
				}
			}
			t.Errorf("%d worlds did not catch it", mostSeeds)
		})
	}
}
