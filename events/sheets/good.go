package sheets

import (
	"strings"

	"oldhand/events"
)

// Where limits come from.
const (
	practice = "common practice, no source"
	amStep   = "one channel off at most, common practice; the step of 10 kHz is that of 47 CFR 73.14"
	fmStep   = "one channel off at most, common practice; the step of 0.2 MHz is that of 47 CFR 73.201"
	apart    = "common practice, no source; the ratio is defined in 47 CFR 73.310"
	hotLimit = "many makers' service manuals; makers differ, so put the limit of the maker in its place"
)

// What readings are taken with, by the trade's names.
const (
	levelMeter = "AC millivoltmeter"
	generator  = "signal generator"
	hotNetwork = "hot check network"
)

// asks is a check that is made when the answer is yes.
func asks(label string) events.Check { return events.Check{Label: label, Measure: "check"} }

// only is a check of sets that have something.
func only(what string, c events.Check) events.Check {
	c.OnlyWhere = what
	return c
}

func under(conditions string, c events.Check) events.Check {
	c.Conditions = conditions
	return c
}

func level(label, point, measure string) events.Check {
	return events.Check{Label: label, Point: point, Measure: measure, Instrument: levelMeter,
		Conditions: "a strong local station or a full signal; the volume where the next level is read too"}
}

// beside is a level that has to match another.
func beside(other, off string, c events.Check) events.Check {
	c.Low, c.High, c.Beside, c.Source = "-"+off, off, other, practice
	return c
}

func dialAM(where, at, low, high string) events.Check {
	return events.Check{Label: "AM dial, " + where, Point: "AM dial, " + where, Measure: "dial-am", Low: low, High: high,
		Conditions: "tuned to the generator on " + at + ", or to a station known to be there", Instrument: generator, Source: amStep}
}

func dialFM(where, at, low, high string) events.Check {
	return events.Check{Label: "FM dial, " + where, Point: "FM dial, " + where, Measure: "dial-fm", Low: low, High: high,
		Conditions: "tuned to the generator on " + at + ", or to a station known to be there", Instrument: generator, Source: fmStep}
}

// dialsAM and dialsFM hold a dial against the generator low, in the middle and
// high, on channels, so that a known station does as well. Old dials end near 1600
// kHz.
var (
	dialsAM = []events.Check{dialAM("low end", "600 kHz", "590 kHz", "610 kHz"), dialAM("in the middle", "1000 kHz", "990 kHz", "1010 kHz"), dialAM("high end", "1400 kHz", "1390 kHz", "1410 kHz")}
	dialsFM = []events.Check{dialFM("low end", "90.1 MHz", "89.9 MHz", "90.3 MHz"), dialFM("in the middle", "98.1 MHz", "97.9 MHz", "98.3 MHz"), dialFM("high end", "106.1 MHz", "105.9 MHz", "106.3 MHz")}
)

var (
	levelAM = level("level on AM", "AM", "audio-level-am")
	levelFM = beside("AM", "6 dB", level("FM about as loud as AM", "FM", "audio-level-fm"))
	balance = events.Check{Label: "both channels match", Point: "right over left", Measure: "channel-balance", Low: "-3 dB", High: "3 dB",
		Conditions: "balance control in the middle, one signal to both", Instrument: levelMeter, Source: practice}
	separation = events.Check{Label: "FM stereo separation", Point: "FM stereo", Measure: "separation", Low: "20 dB",
		Conditions: "1 kHz in one channel, read in both", Instrument: generator, Source: apart}
	quiet    = under("volume at its lowest, the ear at the loudspeaker", asks("no hum"))
	controls = asks("every control is quiet and does its work")
	hotCheck = events.Check{Label: "hot check", Point: "exposed metal to earth, worst of both plug ways", Measure: "hot-check-voltage", High: "0.75 V",
		Conditions: "straight in the outlet, no isolation transformer for this one check; 1.5 kohm and 0.15 uF from each exposed metal part to earth; both plug ways, switch on and off",
		Instrument: hotNetwork, Source: hotLimit}
)

// Good is the table of sheets that come with the program.
var Good = []events.TestSheetDefined{
	{Name: "intercom master", KindOfSet: "intercom-master", Checks: join(
		[]events.Check{asks("AM plays on both channels"), only("FM", asks("FM plays on both channels")),
			only("a phono or auxiliary input", asks("the phono or auxiliary input plays on both channels")), only("a tape player", asks("the tape plays on both channels")),
			levelAM, only("FM", levelFM)},
		dialsAM, each("FM", dialsFM),
		[]events.Check{only("two channels", balance), asks("every station talks to the master"), asks("every station listens to the master and to music"),
			under("each station's switch, one after the other", asks("every station is silent when off")),
			only("a door station", asks("the door station calls and is answered")), quiet, controls,
			under(hotCheck.Conditions+". Fixed wiring is out of this shop's hands: disconnect at the panel, follow the local electrical code", hotCheck)})},
	{Name: "room station", KindOfSet: "room-station", Checks: []events.Check{asks("talks"), asks("listens"), asks("silent when off"), asks("plays music"), controls}},
	{Name: "door station", KindOfSet: "door-station", Checks: []events.Check{asks("calls"), asks("talks"), asks("listens"), only("a lamp", asks("the lamp lights"))}},
	{Name: "table radio", KindOfSet: "table-radio", Checks: join(
		[]events.Check{asks("AM plays"), only("FM", asks("FM plays")), levelAM, only("FM", levelFM)}, dialsAM, each("FM", dialsFM),
		[]events.Check{quiet, controls, hotCheck})},
	{Name: "receiver", KindOfSet: "receiver", Checks: join(
		[]events.Check{asks("every source plays on both channels"), levelAM, levelFM}, dialsAM, dialsFM,
		[]events.Check{balance, separation, quiet, controls, hotCheck})},
	{Name: "tuner", KindOfSet: "tuner", Checks: join(
		[]events.Check{only("AM", levelAM), under("at the tuner's output", level("level on FM", "FM", "audio-level-fm"))}, each("AM", dialsAM), dialsFM,
		[]events.Check{balance, separation, quiet, hotCheck})},
	{Name: "phono amplifier", KindOfSet: "phono-amplifier", Checks: []events.Check{asks("a record plays on both channels"), level("level on phono", "phono", "audio-level-phono"),
		only("two channels", balance), quiet, controls, hotCheck}},
}

// each is a list of checks of sets that have something.
func each(what string, list []events.Check) (all []events.Check) {
	for _, c := range list {
		all = append(all, only(what, c))
	}
	return all
}

func join(lists ...[]events.Check) (all []events.Check) {
	for _, l := range lists {
		all = append(all, l...)
	}
	return all
}

// GoodNamed is a sheet of the table by its name.
func GoodNamed(name string) (events.TestSheetDefined, bool) {
	for _, s := range Good {
		if strings.EqualFold(s.Name, strings.TrimSpace(name)) {
			return s, true
		}
	}
	return events.TestSheetDefined{}, false
}

// GoodFor is the sheet of the table for a kind of set.
func GoodFor(kindOfSet string) (events.TestSheetDefined, bool) {
	for _, s := range Good {
		if s.KindOfSet == kindOfSet {
			return s, true
		}
	}
	return events.TestSheetDefined{}, false
}
