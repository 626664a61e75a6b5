package trade

// Class is a kind of component, as far as a bench tells them apart when it
// counts what fails.
type Class struct {
	ID        string   // stands in stored facts: never changed, never used again
	Name      string   // what the trade calls one of them
	Letters   []string // class letters of IEEE 315, empty where it has none
	Subsystem string   // a Subsystem's id
	Usual     []string // ids of the modes that a bench usually finds in it
}

// Subsystem is the part of a set that a component belongs to.
type Subsystem struct{ ID, Name string }

// Subsystems is the table of subsystems. Rows are only added.
var Subsystems = []Subsystem{
	{"power", "power supply"},
	{"audio", "audio stages"},
	{"radio", "radio tuning and detection"},
	{"display", "dial, lamps and meters"},
	{"controls", "controls and switches"},
	{"output", "loudspeakers"},
	{"phono", "record player"},
	{"tape", "tape transport"},
	{"intercom", "intercom and house wiring"},
	{"build", "boards, joints and cabinet"},
	{"any", "anywhere in the set"},
}

// The modes usual for families of components: common practice, no source.
var (
	usualCapacitor    = []string{"open", "shorted", "leaky", "low-capacity", "drifted", "intermittent"}
	usualResistor     = []string{"open", "drifted", "overheated", "shorted", "noisy"}
	usualSemi         = []string{"shorted", "open", "leaky", "noisy", "intermittent", "low-gain"}
	usualTube         = []string{"weak", "burned-out", "shorted", "gassy", "microphonic", "noisy", "open", "cracked", "intermittent"}
	usualWound        = []string{"open", "shorted", "overheated", "grounded"}
	usualControl      = []string{"noisy", "dirty", "worn", "open", "stuck", "broken", "intermittent", "missing"}
	usualSwitch       = []string{"dirty", "corroded", "intermittent", "worn", "broken", "stuck", "noisy", "open", "missing"}
	usualLamp         = []string{"burned-out", "missing", "open", "broken"}
	usualCord         = []string{"unsafe", "brittle", "broken", "cracked", "frayed", "open", "missing", "shorted"}
	usualSpeaker      = []string{"open", "torn", "rubbing", "shorted", "distorting", "intermittent", "missing"}
	usualJoint        = []string{"cold", "cracked", "intermittent", "broken", "loose", "open"}
	usualTuned        = []string{"out-of-alignment", "drifted", "open", "intermittent"}
	usualRubber       = []string{"worn", "slipping", "stretched", "brittle", "cracked", "broken", "stuck", "missing", "gummy"}
	usualStylus       = []string{"worn", "missing", "broken", "bent"}
	usualCartridge    = []string{"weak", "dead", "open", "broken", "intermittent", "missing"}
	usualMechanical   = []string{"stuck", "gummy", "worn", "broken", "loose", "bent", "missing", "noisy", "slipping"}
	usualConnection   = []string{"loose", "dirty", "corroded", "broken", "intermittent", "open", "bent", "missing"}
	usualWiring       = []string{"open", "shorted", "grounded", "broken", "frayed", "miswired", "corroded", "intermittent"}
	usualBoard        = []string{"cracked", "overheated", "corroded", "open", "intermittent", "dirty"}
	usualFinish       = []string{"broken", "cracked", "missing", "dirty", "scratched", "bent"}
	usualFuse         = []string{"burned-out", "open", "missing", "wrong-part"}
	usualBatteryParts = []string{"corroded", "dead", "weak", "leaky", "missing", "broken"}
)

// Classes is the table of component classes. Rows are only added; the order is
// the order in which forms show them.
var Classes = []Class{
	{"filter-capacitor", "filter capacitor", []string{"C"}, "power", usualCapacitor},
	{"coupling-capacitor", "coupling capacitor", []string{"C"}, "audio", usualCapacitor},
	{"bypass-capacitor", "bypass capacitor", []string{"C"}, "audio", usualCapacitor},
	{"electrolytic-capacitor", "electrolytic capacitor", []string{"C"}, "any", usualCapacitor},
	{"line-capacitor", "line bypass capacitor", []string{"C"}, "power", usualCapacitor},
	{"variable-capacitor", "tuning capacitor", []string{"C"}, "radio", append([]string{"dirty", "bent", "stuck", "noisy"}, usualCapacitor...)},
	{"trimmer", "trimmer capacitor", []string{"C"}, "radio", append([]string{"out-of-alignment"}, usualCapacitor...)},
	{"capacitor", "capacitor", []string{"C"}, "any", usualCapacitor},
	{"resistor", "resistor", []string{"R"}, "any", usualResistor},
	{"thermistor", "thermistor", []string{"RT"}, "power", usualResistor},
	{"ballast", "ballast resistor or tube", []string{"R"}, "power", usualResistor},
	{"control", "control or potentiometer", []string{"R"}, "controls", usualControl},
	{"switch", "switch", []string{"S"}, "controls", usualSwitch},
	{"lamp", "dial or pilot lamp", []string{"DS"}, "display", usualLamp},
	{"lamp-socket", "lamp socket", []string{"X"}, "display", usualConnection},
	{"line-cord", "line cord", []string{"W"}, "power", usualCord},
	{"fuse", "fuse", []string{"F"}, "power", usualFuse},
	{"power-transformer", "power transformer", []string{"T"}, "power", usualWound},
	{"output-transformer", "output transformer", []string{"T"}, "audio", usualWound},
	{"audio-transformer", "driver or interstage transformer", []string{"T"}, "audio", usualWound},
	{"if-transformer", "intermediate-frequency transformer", []string{"T"}, "radio", append([]string{"out-of-alignment", "drifted", "intermittent"}, usualWound...)},
	{"transformer", "transformer", []string{"T"}, "any", usualWound},
	{"choke", "filter choke", []string{"L"}, "power", usualWound},
	{"coil", "coil", []string{"L"}, "radio", append([]string{"out-of-alignment", "broken", "bent"}, usualWound...)},
	{"rectifier", "rectifier", []string{"CR", "D"}, "power", append([]string{"weak"}, usualSemi...)},
	{"selenium-rectifier", "selenium rectifier", []string{"CR"}, "power", append([]string{"weak", "overheated"}, usualSemi...)},
	{"rectifier-tube", "rectifier tube", []string{"V"}, "power", usualTube},
	{"diode", "diode", []string{"CR", "D"}, "any", usualSemi},
	{"voltage-regulator", "voltage regulator", []string{"VR"}, "power", usualSemi},
	{"vibrator", "vibrator", nil, "power", []string{"stuck", "noisy", "weak"}},
	{"power-supply", "power supply", []string{"PS"}, "power", []string{"shorted", "weak", "intermittent"}},
	{"battery", "battery", []string{"BT"}, "power", usualBatteryParts},
	{"battery-contact", "battery contact", nil, "power", usualConnection},
	{"output-transistor", "output transistor", []string{"Q"}, "audio", usualSemi},
	{"driver-transistor", "driver transistor", []string{"Q"}, "audio", usualSemi},
	{"transistor", "transistor", []string{"Q"}, "any", usualSemi},
	{"integrated-circuit", "integrated circuit", []string{"U"}, "any", usualSemi},
	{"output-tube", "output tube", []string{"V"}, "audio", usualTube},
	{"tube", "electron tube", []string{"V"}, "any", usualTube},
	{"tuning-eye", "tuning eye tube", []string{"V"}, "display", usualTube},
	{"tube-socket", "tube socket", []string{"X"}, "build", usualConnection},
	{"socket", "socket", []string{"X"}, "build", usualConnection},
	{"loudspeaker", "loudspeaker", []string{"LS"}, "output", usualSpeaker},
	{"crossover", "crossover network", []string{"Z"}, "output", []string{"open", "drifted"}},
	{"solder-joint", "solder joint", nil, "build", usualJoint},
	{"circuit-board", "circuit board", nil, "build", usualBoard},
	{"wiring", "wiring in the set", []string{"W"}, "build", usualWiring},
	{"ground", "ground connection", nil, "build", usualConnection},
	{"insulator", "insulator or mica", nil, "build", []string{"missing", "cracked", "brittle", "shorted"}},
	{"alignment", "alignment", nil, "radio", []string{"out-of-alignment", "drifted"}},
	{"ratio-detector", "ratio detector", nil, "radio", usualTuned},
	{"discriminator", "discriminator", nil, "radio", usualTuned},
	{"local-oscillator", "local oscillator", nil, "radio", append([]string{"dead", "weak"}, usualTuned...)},
	{"front-end", "tuner front end", nil, "radio", append([]string{"dead", "dirty", "weak"}, usualTuned...)},
	{"stereo-decoder", "stereo multiplex decoder", nil, "radio", append([]string{"dead"}, usualTuned...)},
	{"if-filter", "ceramic or crystal filter", []string{"FL"}, "radio", usualTuned},
	{"crystal", "crystal", []string{"Y"}, "radio", usualTuned},
	{"antenna", "antenna", nil, "radio", []string{"broken", "missing", "bent", "open", "loose"}},
	{"dial-cord", "dial cord", nil, "display", usualRubber},
	{"dial-glass", "dial glass or pointer", nil, "display", usualFinish},
	{"tuning-drive", "tuning drive", nil, "display", usualMechanical},
	{"meter", "meter", []string{"M"}, "display", []string{"stuck", "open", "drifted", "broken", "bent"}},
	{"knob", "knob", nil, "controls", usualFinish},
	{"cartridge", "pickup cartridge", []string{"PU"}, "phono", usualCartridge},
	{"stylus", "stylus", nil, "phono", usualStylus},
	{"idler", "idler wheel", nil, "phono", usualRubber},
	{"belt", "belt", nil, "phono", usualRubber},
	{"motor", "motor", []string{"B"}, "phono", append([]string{"open", "wrong-speed", "shorted"}, usualMechanical...)},
	{"tonearm", "tonearm", nil, "phono", usualMechanical},
	{"changer", "record changer mechanism", nil, "phono", append([]string{"misadjusted"}, usualMechanical...)},
	{"platter-bearing", "platter or its bearing", nil, "phono", usualMechanical},
	{"tape-head", "tape head", []string{"PU"}, "tape", []string{"dirty", "worn", "misadjusted", "open"}},
	{"pinch-roller", "pinch roller", nil, "tape", usualRubber},
	{"tape-transport", "tape transport", nil, "tape", usualMechanical},
	{"relay", "relay", []string{"K"}, "any", append([]string{"overheated"}, usualSwitch...)},
	{"intercom-line", "intercom line", []string{"W"}, "intercom", usualWiring},
	{"talk-switch", "talk-listen switch", []string{"S"}, "intercom", usualSwitch},
	{"door-button", "door button", []string{"S"}, "intercom", usualSwitch},
	{"chime", "door chime", []string{"DS"}, "intercom", []string{"dead", "stuck", "open", "weak"}},
	{"intercom-amplifier", "intercom amplifier", nil, "intercom", []string{"dead", "weak", "noisy", "intermittent"}},
	{"microphone", "microphone", []string{"MK"}, "intercom", []string{"dead", "weak", "open", "intermittent"}},
	{"terminal-block", "terminal block", []string{"TB"}, "intercom", usualConnection},
	{"jack", "jack", []string{"J"}, "build", usualConnection},
	{"plug", "plug", []string{"P"}, "build", usualConnection},
	{"connector", "connector", []string{"J", "P"}, "build", usualConnection},
	{"fan", "fan", []string{"B"}, "power", usualMechanical},
	{"cabinet", "cabinet or grille", nil, "build", usualFinish},
	{"hardware", "screws and mountings", nil, "build", append([]string{"loose"}, usualFinish...)},
	{"amplifier", "amplifier stage", nil, "audio", []string{"dead", "weak", "noisy", "distorting", "intermittent"}},
	{"preamplifier", "preamplifier stage", nil, "audio", []string{"dead", "weak", "noisy", "distorting", "intermittent"}},
}

// ClassOf finds a class by its id.
func ClassOf(id string) (Class, bool) {
	i, ok := classIndex[id]
	if !ok {
		return Class{}, false
	}
	return Classes[i], true
}

var classIndex = indexOf(Classes, func(c Class) string { return c.ID })

// indexOf gives the place of each row by its id. Two rows with one id are a
// slip in a table of this package, which no input can cause.
func indexOf[R any](rows []R, id func(R) string) map[string]int {
	at := make(map[string]int, len(rows))
	for i, r := range rows {
		if _, twice := at[id(r)]; twice {
			panic("trade: id used twice: " + id(r))
		}
		at[id(r)] = i
	}
	return at
}
