package trade

// Letter is a class letter before the number of a part on a diagram, and the
// component class that it suggests. Class is empty where the letter is known
// but says too little.
type Letter struct {
	Letters  string
	Name     string
	Class    string
	Standard bool // in IEEE 315; the others are found on diagrams of the period
}

// Letters is the table of class letters. The standard's rows come from its
// list; the period's are common practice, no source. A letter that has one
// meaning in the standard and another on many diagrams of the period suggests
// nothing: VR is a regulator in the standard and a variable resistor on half of
// the sets that carry it.
var Letters = []Letter{
	{"A", "assembly", "", true},
	{"B", "motor or fan", "motor", true},
	{"BT", "battery", "battery", true},
	{"C", "capacitor", "capacitor", true},
	{"CR", "diode or rectifier", "diode", true},
	{"D", "diode or rectifier", "diode", true},
	{"DS", "lamp or indicator", "lamp", true},
	{"E", "miscellaneous part", "", true},
	{"F", "fuse", "fuse", true},
	{"FL", "filter", "if-filter", true},
	{"J", "jack", "jack", true},
	{"K", "relay", "relay", true},
	{"L", "coil", "coil", true},
	{"LS", "loudspeaker", "loudspeaker", true},
	{"M", "meter", "meter", true},
	{"MK", "microphone", "microphone", true},
	{"P", "plug", "plug", true},
	{"PS", "power supply", "power-supply", true},
	{"PU", "pickup", "cartridge", true},
	{"Q", "transistor", "transistor", true},
	{"R", "resistor", "resistor", true},
	{"RT", "thermistor", "thermistor", true},
	{"S", "switch", "switch", true},
	{"T", "transformer", "transformer", true},
	{"TB", "terminal block", "terminal-block", true},
	{"TP", "test point", "", true},
	{"U", "integrated circuit", "integrated-circuit", true},
	{"V", "electron tube", "tube", true},
	{"VR", "regulator or variable resistor", "", true},
	{"W", "cable", "wiring", true},
	{"X", "socket", "socket", true},
	{"Y", "crystal", "crystal", true},
	{"Z", "network", "", true},
	{"I", "lamp", "lamp", false},
	{"IC", "integrated circuit", "integrated-circuit", false},
	{"PL", "pilot lamp", "lamp", false},
	{"SP", "loudspeaker", "loudspeaker", false},
	{"SW", "switch", "switch", false},
	{"TR", "transistor", "transistor", false},
	{"SR", "selenium rectifier", "selenium-rectifier", false},
}

// LetterOf finds a class letter, in capitals.
func LetterOf(letters string) (Letter, bool) {
	i, ok := letterIndex[letters]
	if !ok {
		return Letter{}, false
	}
	return Letters[i], true
}

var letterIndex = indexOf(Letters, func(l Letter) string { return l.Letters })
