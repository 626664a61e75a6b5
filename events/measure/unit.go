package measure

// Unit is a base unit by its UCUM code. It is stored with every value, so a
// code is never changed or reused.
type Unit string

// The base units. UCUM writes the number one as 1, and takes text in braces as
// a remark on it.
const (
	One           Unit = "1"
	Farad         Unit = "F"
	Ohm           Unit = "Ohm"
	Henry         Unit = "H"
	Volt          Unit = "V"
	Ampere        Unit = "A"
	Watt          Unit = "W"
	Hertz         Unit = "Hz"
	Second        Unit = "s"
	Decibel       Unit = "dB"
	DecibelVolt   Unit = "dB[V]" // level over 1 V
	Percent       Unit = "%"
	PerMinute     Unit = "/min"
	InchPerSecond Unit = "[in_i]/s"
	YesOrNo       Unit = "{yes}" // 1 for yes, 0 for no
)

// Quantity is what a value is a value of.
type Quantity uint8

// The quantities that Parse can be asked for.
const (
	Number Quantity = iota
	Capacitance
	Resistance
	Inductance
	Voltage
	Current
	Power
	Frequency
	Time
	Level
	Ratio
	RotationSpeed
	TapeSpeed
	YesNo
	quantities // how many there are
)

var quantityNames = [quantities]string{
	"number", "capacitance", "resistance", "inductance", "voltage", "current", "power",
	"frequency", "time", "level", "ratio", "speed of rotation", "tape speed", "yes or no",
}

func (q Quantity) String() string {
	if q >= quantities {
		return "unknown quantity"
	}
	return quantityNames[q]
}

// scale is a unit as it is written: a base unit times a power of ten.
type scale struct {
	unit Unit
	exp  int8
}

// prefix is one way to write a power of ten in front of a unit.
type prefix struct {
	text string
	exp  int8
}

// step is a prefixed unit for people, used from the size 10^from upwards.
type step struct {
	from, exp int8
	symbol    string
}

// unitRow says how a unit is written and read. Spellings are small letters
// without spaces; µ is u and Ω is ohm.
type unitRow struct {
	unit     Unit
	quantity Quantity
	stems    []string
	prefixes []prefix
	alone    []prefix // prefixes that stand for the whole unit, as in 47n or 10k
	steps    []step   // rising
}

var (
	small = []prefix{{"p", -12}, {"n", -9}, {"u", -6}, {"m", -3}, {"pico", -12}, {"nano", -9}, {"micro", -6}, {"milli", -3}}
	large = []prefix{{"k", 3}, {"kilo", 3}, {"meg", 6}, {"mega", 6}, {"g", 9}, {"giga", 9}}
)

// unitRows is the table of units. Sources: UCUM for the codes, IEC 60062 for
// the prefixes that stand alone, and for capacitors the old markings in which
// MFD and MF are micro and MMF, MMFD and uuF micromicro, which is pico (old
// radio texts). A capacitor has no milli: what is written m is the old micro.
// Capacitors are shown in pF and µF only, as schematics of the period do.
var unitRows = []unitRow{
	{One, Number, nil, nil, nil, []step{{0, 0, ""}}},
	{Farad, Capacitance, []string{"f", "fd", "fds", "farad", "farads"},
		[]prefix{
			{"p", -12}, {"pico", -12}, {"mm", -12}, {"uu", -12}, {"micromicro", -12},
			{"n", -9}, {"nano", -9}, {"u", -6}, {"m", -6}, {"micro", -6},
		},
		[]prefix{{"p", -12}, {"uu", -12}, {"n", -9}, {"u", -6}},
		[]step{{-30, -12, "pF"}, {-9, -6, "µF"}, {0, 0, "F"}}},
	{Ohm, Resistance, []string{"ohm", "ohms", "r"},
		append([]prefix{{"kil", 3}, {"m", 6}, {"milli", -3}}, large...),
		[]prefix{{"k", 3}, {"m", 6}, {"meg", 6}, {"megs", 6}, {"g", 9}},
		[]step{{-30, 0, "Ω"}, {3, 3, "kΩ"}, {6, 6, "MΩ"}, {9, 9, "GΩ"}}},
	{Henry, Inductance, []string{"h", "hy", "henry", "henries", "henrys"}, small,
		[]prefix{{"u", -6}},
		[]step{{-30, -9, "nH"}, {-6, -6, "µH"}, {-3, -3, "mH"}, {0, 0, "H"}}},
	{Volt, Voltage, []string{"v", "volt", "volts", "vdc", "vac", "vrms", "wv", "wvdc", "vdcw", "dcwv", "dcv", "acv"},
		append([]prefix{{"k", 3}, {"kilo", 3}}, small...), nil,
		[]step{{-30, -6, "µV"}, {-3, -3, "mV"}, {0, 0, "V"}, {3, 3, "kV"}}},
	{Ampere, Current, []string{"a", "amp", "amps", "ampere", "amperes", "aac", "adc"}, small, nil,
		[]step{{-30, -9, "nA"}, {-6, -6, "µA"}, {-3, -3, "mA"}, {0, 0, "A"}}},
	{Watt, Power, []string{"w", "watt", "watts"},
		append([]prefix{{"k", 3}, {"kilo", 3}}, small...), nil,
		[]step{{-30, -6, "µW"}, {-3, -3, "mW"}, {-1, 0, "W"}, {3, 3, "kW"}}},
	{Hertz, Frequency, []string{"hz", "cps", "c/s", "cycles", "hertz"},
		append([]prefix{{"m", 6}}, large...),
		[]prefix{{"kc", 3}, {"mc", 6}, {"kcs", 3}, {"mcs", 6}, {"kc/s", 3}, {"mc/s", 6}},
		[]step{{-30, 0, "Hz"}, {3, 3, "kHz"}, {6, 6, "MHz"}, {9, 9, "GHz"}}},
	{Second, Time, []string{"s", "sec", "secs", "second", "seconds"}, small, nil,
		[]step{{-30, -9, "ns"}, {-6, -6, "µs"}, {-3, -3, "ms"}, {0, 0, "s"}}},
	{Decibel, Level, []string{"db"}, nil, nil, []step{{0, 0, "dB"}}},
	{DecibelVolt, Level, []string{"dbv", "db[v]"}, nil, nil, []step{{0, 0, "dBV"}}},
	{Percent, Ratio, []string{"%", "pct", "percent"}, nil, nil, []step{{0, 0, "%"}}},
	{PerMinute, RotationSpeed, []string{"rpm", "r/min", "/min", "{rev}/min"}, nil, nil, []step{{0, 0, "rpm"}}},
	{InchPerSecond, TapeSpeed, []string{"ips", "in/s", "[in_i]/s"}, nil, nil, []step{{0, 0, "ips"}}},
	{YesOrNo, YesNo, nil, nil, nil, []step{{0, 0, ""}}},
}

// spellings gives, for each quantity, every folded way to write a unit of it.
var spellings = spell(unitRows)

func spell(rows []unitRow) (all [quantities]map[string]scale) {
	for _, row := range rows {
		known := all[row.quantity]
		if known == nil {
			known = map[string]scale{}
			all[row.quantity] = known
		}
		for _, p := range row.alone {
			known[p.text] = scale{row.unit, p.exp}
		}
		for _, stem := range row.stems {
			for _, p := range row.prefixes {
				known[p.text+stem] = scale{row.unit, p.exp}
			}
		}
		// Last, so that a unit's own name wins over a prefix and a shorter one.
		for _, stem := range row.stems {
			known[stem] = scale{row.unit, 0}
		}
	}
	return all
}

// foldUnit writes a unit as spellings has it: small ASCII letters, no spaces,
// dots or dashes. It allocates nothing; ok is false for what can't be a unit.
func foldUnit(raw string, buf *[24]byte) (folded []byte, ok bool) {
	folded = buf[:0]
	for _, r := range raw {
		switch {
		case r == ' ' || r == '.' || r == '-' || r == '\u00a0':
			continue
		case r == 'µ' || r == 'μ':
			r = 'u'
		case r >= 'A' && r <= 'Z':
			r += 'a' - 'A'
		}
		switch {
		case (r == 'Ω' || r == '\u2126') && len(folded)+3 <= len(buf):
			folded = append(folded, "ohm"...)
		case r < 0x80 && len(folded) < len(buf):
			folded = append(folded, byte(r))
		default:
			return nil, false
		}
	}
	return folded, true
}

// stepsOf gives how a base unit is shown to people.
func stepsOf(u Unit) []step {
	for i := range unitRows {
		if unitRows[i].unit == u {
			return unitRows[i].steps
		}
	}
	return []step{{0, 0, string(u)}}
}
