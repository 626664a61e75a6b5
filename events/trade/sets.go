package trade

// Set is a kind of set that comes to the bench.
type Set struct{ ID, Name string }

// Sets is the table of kinds of set. Rows are only added.
var Sets = []Set{
	{"intercom-master", "music and intercom master station"},
	{"room-station", "room station"},
	{"door-station", "door station"},
	{"outdoor-station", "patio or outdoor station"},
	{"intercom-amplifier", "intercom amplifier"},
	{"table-radio", "table radio"},
	{"clock-radio", "clock radio"},
	{"portable-radio", "portable radio"},
	{"console", "console"},
	{"car-radio", "car radio"},
	{"communications-receiver", "communications receiver"},
	{"receiver", "receiver"},
	{"tuner", "tuner"},
	{"amplifier", "amplifier"},
	{"preamplifier", "preamplifier"},
	{"phono-amplifier", "phono amplifier"},
	{"record-player", "record player or turntable"},
	{"record-changer", "record changer"},
	{"compact-stereo", "compact stereo"},
	{"tape-recorder", "tape recorder or deck"},
	{"loudspeaker-box", "loudspeaker in its own box"},
	{"television", "television set"},
	{"test-instrument", "test instrument"},
	{"other", "other"},
}

// Outcome is how a visit ended.
type Outcome struct{ ID, Name string }

// Outcomes is the table of outcomes. Rows are only added.
var Outcomes = []Outcome{
	{"repaired", "repaired"},
	{"returned-unrepaired", "returned unrepaired"},
	{"declined", "estimate declined"},
	{"kept-for-parts", "kept for parts"},
	{"no-fault-found", "no fault found"},
	{"unknown", "not known"},
}

// Work is a kind of work done.
type Work struct{ ID, Name string }

// Works is the table of kinds of work. Rows are only added.
var Works = []Work{
	{"cleaned", "cleaned"},
	{"lubricated", "lubricated"},
	{"realigned", "realigned"},
	{"adjusted", "adjusted"},
	{"resoldered", "resoldered"},
	{"rebuilt", "rebuilt"},
	{"recapped", "all electrolytics renewed"},
	{"rewired", "rewired"},
	{"restrung", "dial cord restrung"},
	{"reconed", "loudspeaker reconed"},
	{"replaced", "part replaced"},
	{"retubed", "retubed"},
	{"re-formed", "capacitor re-formed"},
	{"demagnetized", "demagnetized"},
	{"made-safe", "made safe"},
	{"modified", "modified"},
	{"refinished", "refinished"},
	{"tested", "tested"},
}

// SetOf finds a kind of set by its id.
func SetOf(id string) (Set, bool) {
	i, ok := setIndex[id]
	if !ok {
		return Set{}, false
	}
	return Sets[i], true
}

// OutcomeOf finds an outcome by its id.
func OutcomeOf(id string) (Outcome, bool) {
	i, ok := outcomeIndex[id]
	if !ok {
		return Outcome{}, false
	}
	return Outcomes[i], true
}

// WorkOf finds a kind of work by its id.
func WorkOf(id string) (Work, bool) {
	i, ok := workIndex[id]
	if !ok {
		return Work{}, false
	}
	return Works[i], true
}

var (
	setIndex     = indexOf(Sets, func(s Set) string { return s.ID })
	outcomeIndex = indexOf(Outcomes, func(o Outcome) string { return o.ID })
	workIndex    = indexOf(Works, func(w Work) string { return w.ID })
)
