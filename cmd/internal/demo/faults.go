package demo

import (
	"errors"
	"fmt"
	"strings"

	"oldhand/events"
	"oldhand/events/measure"
)

// fault is a row of the table of what goes wrong, with all that is said about
// it when it does.
type fault struct {
	key             string
	component, mode string // ids of package trade's tables
	cause           string
	at              []string      // designators
	says            []string      // the owner's words
	tube, solid     swap          // what goes out and in, empty where no part does
	work            string        // id of package trade's table, empty where a part is all
	weights         [groups]uint8 // how often, beside the other faults of the group
	radio           bool          // is heard on FM
	level           bool          // is heard on every source
}

// swap is the markings of a part and of the one put in for it.
type swap struct{ out, in string }

// faults is the table. The columns of weights are: masters with tubes and
// without, stations, table radios, receivers and tuners, amplifiers with tubes
// and without. How often what fails is invented.
var faults = []fault{
	{"filter leaky", "filter-capacitor", "leaky", "age", []string{"C1", "C2", "C14/C15"}, []string{"loud hum even with the volume down", "hums like a beehive"},
		swap{"40-40 MFD 350V", "47 uF 450V"}, swap{"1000 MFD 35V", "1000 uF 50V"}, "", [groups]uint8{14, 8, 0, 16, 7, 16, 8}, false, true},
	{"filter dry", "filter-capacitor", "low-capacity", "age", []string{"C3", "C52"}, []string{"motorboats when turned up", "hum and weak"},
		swap{"20 MFD 450V", "22 uF 450V"}, swap{"500 MFD 25V", "470 uF 35V"}, "", [groups]uint8{8, 9, 0, 9, 8, 9, 9}, false, true},
	{"coupling leaky", "coupling-capacitor", "leaky", "age", []string{"C21", "C9", "C27"}, []string{"sounds rough and the tube glows", "distorted on everything"},
		swap{".022 MFD 400V", ".022 uF 630V"}, swap{"5 MFD 15V", "4.7 uF 50V"}, "", [groups]uint8{14, 6, 0, 15, 6, 16, 8}, false, true},
	{"line capacitor", "line-capacitor", "shorted", "age", []string{"C30", "C61"}, []string{"smoked and then went dead", "bites when you touch the trim"},
		swap{".01 MFD 600V", ".01 uF 275V"}, swap{".01 MFD 600V", ".01 uF 275V"}, "", [groups]uint8{3, 2, 0, 4, 2, 3, 2}, false, true},
	{"selenium", "selenium-rectifier", "weak", "age", []string{"CR1"}, []string{"slow to start and weak", "smells when it is on"},
		swap{"100 MA 130V stack", "1N4007 and 47 ohm 5W"}, swap{}, "", [groups]uint8{5, 0, 0, 4, 0, 2, 0}, false, true},
	{"rectifier", "rectifier", "shorted", "surge", []string{"CR2", "D3"}, []string{"blows the fuse", "dead since the storm"},
		swap{"1N1763", "1N4007"}, swap{"1N1693", "1N4003"}, "", [groups]uint8{2, 5, 0, 1, 5, 2, 6}, false, true},
	{"rectifier tube", "rectifier-tube", "weak", "wear", []string{"V5", "V6"}, []string{"takes five minutes to play"},
		swap{"35W4", "35W4"}, swap{}, "", [groups]uint8{4, 0, 0, 7, 0, 8, 0}, false, true},
	{"output tube", "output-tube", "gassy", "wear", []string{"V4", "V7"}, []string{"gets quieter as it warms up"},
		swap{"6AQ5", "6AQ5"}, swap{}, "", [groups]uint8{5, 0, 0, 7, 0, 10, 0}, false, true},
	{"tube", "tube", "weak", "wear", []string{"V1", "V2", "V3"}, []string{"few stations come in", "weak on FM"},
		swap{"12BA6", "12BA6"}, swap{}, "", [groups]uint8{8, 0, 0, 11, 0, 5, 0}, true, false},
	{"output transistor", "output-transistor", "shorted", "overload", []string{"Q12", "Q13", "Q702"}, []string{"one side dead", "blew with a pop", "no sound on the left"},
		swap{}, swap{"2N3055", "2N3055"}, "", [groups]uint8{0, 5, 0, 0, 9, 0, 12}, false, true},
	{"noisy transistor", "transistor", "noisy", "manufacture", []string{"Q3", "Q5", "Q201"}, []string{"frying noise that comes and goes"},
		swap{}, swap{"2N2712", "2N3904"}, "", [groups]uint8{0, 7, 3, 0, 8, 0, 8}, false, false},
	{"circuit", "integrated-circuit", "intermittent", "heat", []string{"U1", "U3"}, []string{"quits after an hour"},
		swap{}, swap{"FM circuit, 16 pins", "FM circuit, 16 pins"}, "", [groups]uint8{0, 3, 0, 0, 5, 0, 0}, true, false},
	{"noisy control", "control", "noisy", "wear", []string{"R40", "R12", "R77"}, []string{"scratches when the volume is turned", "volume jumps"},
		swap{}, swap{}, "cleaned", [groups]uint8{9, 9, 5, 9, 11, 9, 11}, false, false},
	{"dirty switch", "switch", "dirty", "dirt", []string{"S1", "S2"}, []string{"cuts out until you wiggle the knob", "only one source plays"},
		swap{}, swap{}, "cleaned", [groups]uint8{7, 8, 4, 5, 10, 4, 6}, false, false},
	{"talk switch", "talk-switch", "corroded", "moisture", []string{"S3", "S11"}, []string{"can hear the kitchen but cannot answer", "talk button does nothing"},
		swap{}, swap{}, "cleaned", [groups]uint8{9, 10, 25, 0, 0, 0, 0}, false, false},
	{"door button", "door-button", "corroded", "moisture", []string{"S20"}, []string{"chime will not ring from the front door"},
		swap{}, swap{"push button", "push button"}, "", [groups]uint8{0, 0, 14, 0, 0, 0, 0}, false, false},
	{"intercom line", "intercom-line", "open", "handling", []string{"TB1"}, []string{"two rooms are silent"},
		swap{}, swap{}, "rewired", [groups]uint8{5, 6, 4, 0, 0, 0, 0}, false, false},
	{"lamp", "lamp", "burned-out", "wear", []string{"DS1", "DS2"}, []string{"dial is dark"},
		swap{"No. 47", "No. 47"}, swap{"14V 80 mA lamp", "14V 80 mA lamp"}, "", [groups]uint8{5, 6, 0, 4, 9, 0, 1}, false, false},
	{"line cord", "line-cord", "brittle", "age", []string{"W1"}, []string{"cord is crumbling", "please make it safe"},
		swap{"two-wire rubber cord", "polarized cord"}, swap{"two-wire cord", "polarized cord"}, "made-safe", [groups]uint8{2, 1, 0, 12, 3, 8, 4}, false, false},
	{"cracked joint", "solder-joint", "cracked", "heat", []string{"P2", "TB2"}, []string{"comes and goes with a tap on the side"},
		swap{}, swap{}, "resoldered", [groups]uint8{3, 7, 4, 2, 8, 2, 6}, false, false},
	{"alignment", "alignment", "drifted", "age", []string{""}, []string{"stations are off the numbers", "FM is much weaker than AM"},
		swap{}, swap{}, "realigned", [groups]uint8{6, 7, 0, 6, 8, 0, 0}, true, false},
	{"ratio detector", "ratio-detector", "out-of-alignment", "age", []string{"T6", "T204"}, []string{"FM is distorted"},
		swap{}, swap{}, "realigned", [groups]uint8{5, 5, 0, 4, 6, 0, 0}, true, false},
	{"decoder", "stereo-decoder", "drifted", "age", []string{"T301", ""}, []string{"stereo light comes on but no stereo"},
		swap{}, swap{}, "realigned", [groups]uint8{0, 1, 0, 0, 7, 0, 0}, true, false},
	{"dial cord", "dial-cord", "broken", "wear", []string{""}, []string{"pointer does not move"},
		swap{}, swap{}, "restrung", [groups]uint8{2, 2, 0, 6, 4, 0, 0}, false, false},
	{"loudspeaker", "loudspeaker", "torn", "age", []string{"LS1"}, []string{"rattles on bass"},
		swap{}, swap{}, "reconed", [groups]uint8{3, 3, 9, 5, 0, 2, 2}, false, false},
	{"resistor", "resistor", "drifted", "heat", []string{"R18", "R31", "R6"}, []string{"weak and dull"},
		swap{"470K 1/2W 10%", "470K 1/2W 5%"}, swap{"2.2K 1/2W 10%", "2.2K 1/2W 5%"}, "", [groups]uint8{8, 4, 0, 8, 4, 9, 5}, false, false},
	{"power transformer", "power-transformer", "open", "overload", []string{"T1"}, []string{"stone dead"},
		swap{"power transformer", "rewound transformer"}, swap{"power transformer", "rewound transformer"}, "", [groups]uint8{1, 2, 0, 1, 1, 2, 1}, false, true},
}

// part is a swap with its markings read, once for all the times it is used.
type part struct{ out, in events.Marking }

// odds is how often each fault comes in a set of one model and year.
type odds struct {
	upTo  []int // sums of weights
	which []*fault
}

func (o odds) pick(d dice) *fault {
	n := d.below(o.upTo[len(o.upTo)-1])
	for i, sum := range o.upTo {
		if n < sum {
			return o.which[i]
		}
	}
	panic("unreachable: n is below the last sum")
}

// oddsOf lays the families of a model and year over the table of faults.
func oddsOf(m *model, year int) (o odds) {
	sum := 0
	for i := range faults {
		f := &faults[i]
		w := int(f.weights[m.group])
		if f.radio && !m.fm || f.key == "decoder" && !m.stereo {
			w = 0
		}
		for _, fam := range families {
			if fam.model == m.name && fam.fault == f.key && year >= fam.from && year <= fam.to {
				w *= fam.times
			}
		}
		if w > 0 {
			sum += w
			o.upTo, o.which = append(o.upTo, sum), append(o.which, f)
		}
	}
	return o
}

// faultNamed finds a row that this package itself names.
func faultNamed(key string) *fault {
	for i := range faults {
		if faults[i].key == key {
			return &faults[i]
		}
	}
	panic("demo: no fault " + key)
}

// swapFor is the part that a fault takes in a group of sets.
func (f *fault) swapFor(g group) swap {
	if g.tubes() {
		return f.tube
	}
	return f.solid
}

// readParts reads the markings of every swap in the table of faults.
func readParts() (map[swap]part, error) {
	parts := map[swap]part{}
	for i := range faults {
		f := &faults[i]
		for _, s := range []swap{f.tube, f.solid} {
			if s == (swap{}) {
				continue
			}
			out, err := marking(s.out, letters(f.at[0]))
			if err != nil {
				return nil, err
			}
			in, err := marking(s.in, letters(f.at[0]))
			if err != nil {
				return nil, err
			}
			parts[s] = part{out, in}
		}
	}
	return parts, nil
}

// marking reads a marking as a bench would: what has two readings stays text.
func marking(text, class string) (events.Marking, error) {
	m := events.Marking{Text: text}
	p, err := measure.ParsePart(text, class)
	if unclear := (*measure.Ambiguous)(nil); err != nil && !errors.As(err, &unclear) {
		return m, fmt.Errorf("marking %q: %w", text, err)
	}
	for _, v := range p.Sections {
		v = v.Normal()
		m.Sections = append(m.Sections, events.Quantity{Mant: v.Mant, Exp: v.Exp, Unit: string(v.Unit)})
	}
	if len(p.Volts) > 0 {
		m.Volts = wholeVolts(p.Volts[0])
	}
	return m, nil
}

// wholeVolts is a rating of whole volts; others are left to the text.
func wholeVolts(v measure.Value) int {
	n, exp := v.Normal().Mant, v.Normal().Exp
	for ; exp > 0 && n < 1_000_000; exp-- {
		n *= 10
	}
	if exp != 0 {
		return 0
	}
	return int(n)
}

// letters are the class letters of a designator: the C of C14.
func letters(designator string) string {
	return designator[:len(designator)-len(strings.TrimLeft(designator, "ABCDEFGHIJKLMNOPQRSTUVWXYZ"))]
}
