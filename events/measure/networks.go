package measure

import (
	"fmt"
	"math"
)

// Network is what stands between an exposed metal part and earth while a leakage
// is read. Its ID is stored with readings: it is never changed or given to
// another.
type Network struct {
	ID, Name string
	// ReadingID is the kind of measurement that a voltage over it is.
	ReadingID string
	// Usual says whether service manuals give its limits in rms or in peak.
	Usual   string
	current func(v Value, hz int) (LeakageCurrent, error)
}

// LeakageCurrent is what a voltage over a network stands for, in mA: Limited is
// what limits are written for, Through the current that really flows at this
// frequency. Both are rms where the voltage was rms and peak where it was peak.
// It is a number: nothing here declares a set safe.
type LeakageCurrent struct{ Limited, Through float64 }

// Networks are those that readings are taken over. Sources: many makers' service
// manuals, worded alike, for the first; IEC 60990 by vendors' data and manuals for
// the second. IEC 60990 itself sets no limits.
var Networks = []Network{
	{"hot-check", "hot check, 1500 Ω with 0.15 µF across", "hot-check-voltage", "rms", func(v Value, hz int) (LeakageCurrent, error) {
		through, shortcut, err := HotCheckCurrent(v, hz)
		return LeakageCurrent{shortcut, through}, err
	}},
	{"iec60990", "IEC 60990, weighted, voltage U2", "touch-voltage", "peak", func(v Value, hz int) (LeakageCurrent, error) {
		weighted, actual, err := TouchCurrent(v, hz)
		return LeakageCurrent{weighted, actual}, err
	}},
}

// FindNetwork gives the network with an id. It refuses others, and names those
// there are.
func FindNetwork(id string) (Network, error) {
	for _, n := range Networks {
		if n.ID == id {
			return n, nil
		}
	}
	return Network{}, fmt.Errorf("network %q: there are hot-check and iec60990", id)
}

// Current gives what a voltage over the network stands for; see HotCheckCurrent
// and TouchCurrent for what it refuses.
func (n Network) Current(v Value, hz int) (LeakageCurrent, error) { return n.current(v, hz) }

// SinePeak is the peak of a sine over its rms. Of another waveform it is another
// number, so a peak reading is not turned into rms without saying "if sinusoidal".
const SinePeak = math.Sqrt2
