package oddshop

import "strings"

// Element and Attribute are markup that stands on no page of ours: where a browser
// would read one of them as markup, a text was not escaped.
const (
	Element   = "<oddelement>"
	Attribute = ` oddattribute=1 `
)

// texts are what an odd bench writes wherever a text can stand.
var texts = []string{
	"", " ", "\x00", "a\x00b", "\x00\x00\x00\x00\x00", "-", "0",
	"\x1b[2J\x1b[1;1H", "\x1b]0;a title\a", "\u009b31mred", "\x7f", "a\bb",
	"one\n  2026-01-01  final test passed", "one\r\ntwo", "\rover", "a\tb", "\v\f",
	"\u202egnihtyna\u202c", "\u2066apart\u2069", "\u2028next\u2029", "\ufeff", "\ufffe", "e\u0301\u0323\u0330\u0316", "\U0001f4fb", "日本",
	Element, "</script>" + Element, "]]>" + Element, "--> " + Element, "</title></style></textarea></svg>" + Element,
	`"` + Attribute, "'" + Attribute, `"'>` + Element,
	"=1+1", "+1", "-1+2", "@sum(1)", "\t=1+1", "\r=1+1", "\n=1+1", "=cmd|' /C x'!A0",
	"%d%s%n%x", "{{.}}", "${x}", `\`, `"`, "'", "`",
	"/../../x", "a/b?c=d&e#f", "..", ".", "javascript:alert(1)", "con", "a;b,c|d",
	"99999999999999999999 V", "1e999999 V", "-47 MMF", "0 V", "47 47 47 47", "1e-999 F",
}

// likely are texts that a field of the name may well hold, so that what goes by them is
// reached with the rest of the body odd.
var likely = map[string][]string{
	"Maker": {"Ostrel", "OSTREL", "Corvane"}, "Model": {"R-950", "MS-40"}, "Serial": {"E17-17750", "e17 17705"},
	"KindOfSet": {"table-radio", "intercom-master"}, "Tag": {"10019", "10024", "99", "000000000000"},
	"Component": {"filter-capacitor", "transistor"}, "Mode": {"leaky", "short"}, "Sure": {"likely", "certain"},
	"Designator": {"C1", "C1/C2", "Q702"}, "Reason": {"failed", "preventive"}, "Work": {"cleaned", "realigned"},
	"Point": {"AM", "touch current", "FM"}, "Measure": {"audio-level-am", "distortion", "touch-current"},
	"Stage": {"as found", "as left"}, "Network": {"iec60990"}, "Amplitude": {"rms", "peak"}, "Unit": {"V", "F", "Ohm", "dB", "{yes}"},
	"Verdict": {"passed", "failed", "not finished"}, "For": {"parts", "owner"}, "Outcome": {"repaired", "unrepaired"},
	"Currency": {"USD", "JPY"}, "Table": {"component", "outcome", "kind of set"}, "Format": {"book", "ords"},
	"Type": {"image/jpeg", "text/html"}, "What": {"date code"}, "Low": {"10 mV", "-3 dB"}, "High": {"95 mV", "3 dB"}, "Beside": {"AM"},
}

// huge is as long as a text can be in a record that has some more in it.
const huge = 56 << 10

// hugeTexts are texts that fill a record: one word, words, and marks on one letter.
func hugeTexts() []string {
	return []string{strings.Repeat("W", huge), strings.Repeat("word & <b> ", huge/11), "e" + strings.Repeat("\u0301", huge/2), strings.Repeat("7", huge)}
}
