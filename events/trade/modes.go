package trade

// Mode is a failure mode: the manner in which a component no longer does its
// work (IEC 60050-192, 192-03-17), in the bench's words.
type Mode struct{ ID, Name string }

// Modes is the table of failure modes. Rows are only added.
var Modes = []Mode{
	{"open", "open"},
	{"shorted", "shorted"},
	{"leaky", "leaky"},
	{"low-capacity", "dried out, low in capacity"},
	{"drifted", "drifted off value or frequency"},
	{"noisy", "noisy or scratchy"},
	{"dirty", "dirty"},
	{"corroded", "corroded or oxidized"},
	{"worn", "worn"},
	{"cracked", "cracked"},
	{"burned-out", "burned out"},
	{"overheated", "overheated or charred"},
	{"weak", "weak"},
	{"gassy", "gassy"},
	{"microphonic", "microphonic"},
	{"low-gain", "low gain"},
	{"broken", "broken"},
	{"brittle", "brittle or hardened"},
	{"frayed", "frayed"},
	{"torn", "torn"},
	{"rubbing", "rubbing"},
	{"distorting", "distorting"},
	{"loose", "loose"},
	{"cold", "cold joint, never wetted"},
	{"stuck", "stuck or seized"},
	{"gummy", "gummed up"},
	{"slipping", "slipping"},
	{"stretched", "stretched"},
	{"bent", "bent"},
	{"scratched", "scratched"},
	{"wrong-speed", "wrong speed"},
	{"misadjusted", "out of adjustment"},
	{"out-of-alignment", "out of alignment"},
	{"intermittent", "intermittent"},
	{"missing", "missing"},
	{"unsafe", "unsafe"},
	{"grounded", "grounded to the chassis or house"},
	{"miswired", "wired wrongly"},
	{"wrong-part", "wrong part fitted"},
	{"dead", "dead"},
	{"defective", "defective, how is not said"},
}

// ModeOf finds a failure mode by its id.
func ModeOf(id string) (Mode, bool) {
	i, ok := modeIndex[id]
	if !ok {
		return Mode{}, false
	}
	return Modes[i], true
}

var modeIndex = indexOf(Modes, func(m Mode) string { return m.ID })

// Cause is why a component came to fail (failure cause, 192-03-11).
type Cause struct{ ID, Name string }

// Causes is the table of causes. Rows are only added.
var Causes = []Cause{
	{"age", "age"},
	{"wear", "wear in use"},
	{"heat", "heat"},
	{"moisture", "moisture"},
	{"dirt", "dirt or smoke"},
	{"overload", "overload"},
	{"surge", "surge or lightning"},
	{"battery-leak", "leaking battery"},
	{"followed", "followed from another fault"},
	{"earlier-repair", "earlier repair or changes"},
	{"shipping", "damage in shipping"},
	{"handling", "dropped or mishandled"},
	{"pests", "insects or mice"},
	{"manufacture", "weakness of make or design"},
	{"unknown", "not known"},
}

// Certainty says how sure the bench is of a finding, in the order of falling
// sureness.
type Certainty struct{ ID, Name string }

// Certainties is the table of how-sure words. Rows are only added.
var Certainties = []Certainty{
	{"proven", "proven: the set worked once it was changed"},
	{"measured", "measured"},
	{"seen", "seen by eye"},
	{"likely", "likely"},
	{"suspected", "suspected"},
	{"unsaid", "not said"},
}
