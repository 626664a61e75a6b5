package web

import (
	"html/template"
	"net/url"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/picture"
	"oldhand/cmd/internal/sums"
	"oldhand/events"
	"oldhand/events/measure"
)

// The sums of the bench, a form for each. They save nothing and need no shop, so a
// form goes by GET and its address is a link to the answer. While something is typed
// the answer is fetched alone.

// sum is one of them: its form, and what works it out.
type sum struct {
	name, title, about string
	fields             func() []*field
	do                 func(v url.Values) (sums.Answer, error)
}

// sumPage is all of them, one perhaps answered.
type sumPage struct{ Sums []sumForm }

type sumForm struct {
	form
	Title, About string
	Answer       *sumAnswer // nil while nothing is asked
}

// sumAnswer is an answer as it is drawn.
type sumAnswer struct {
	Tables  []table
	Words   []string
	Unread  []string
	Caution string
	Wrong   string
	Picture template.HTML
}

func allSums() []sum {
	return []sum{
		{"datecode", "Date codes", "What stands on the parts of one set: before when it was not built, and a year made to propose.", dateCodeFields, dateCodeSum},
		{"value", "Values of parts", "What is printed on parts, and the preferred value nearest to each. What means two things is asked, not guessed.", valueFields, valueSum},
		{"colours", "Colour bands", "Of a resistor, from the end that they crowd to.", coloursFields, coloursSum},
		{"dial", "A dial", "Readings against their stations; several over the dial tell an offset from tracking.", dialFields, dialSum},
		{"level", "Levels", "FM beside AM, right beside left, wanted beside leak; or levels in dB, added and averaged in power.", levelFields, levelSum},
		{"touch", "Touch current", "The voltage over a measuring network as a current, and what a capacitor from line to chassis lets through.", touchFields, touchSum},
		{"discharge", "A capacitor's discharge", "How long it takes through a resistor.", dischargeFields, dischargeSum},
	}
}

// sumsPage shows all sums, with the answer that its address asks for.
func sumsPage(q *request) error {
	var p sumPage
	for _, s := range allSums() {
		f := s.form()
		if q.asked("sum") == s.name {
			f.Answer = f.answer(s, q.r.URL.Query())
		}
		p.Sums = append(p.Sums, f)
	}
	return q.show("sums", "Sums of the bench", p)
}

// sumPart answers one sum alone, while it is typed.
func sumPart(q *request) error {
	for _, s := range allSums() {
		if s.name == q.r.PathValue("sum") {
			f := s.form()
			return q.part("sums", "answer", f.answer(s, q.r.URL.Query()))
		}
	}
	return nowhere(q)
}

func (s sum) form() sumForm {
	return sumForm{form: form{ID: s.name, Fields: s.fields()}, Title: s.title, About: s.about}
}

// answer fills the form with what was asked and works it out; nil where nothing was.
func (f *sumForm) answer(s sum, v url.Values) *sumAnswer {
	f.fill(v)
	said := false
	for _, x := range f.Fields {
		said = said || x.Value != "" && x.Kind != "select" && x.Kind != "number"
	}
	if !said {
		return nil
	}
	a, err := s.do(v)
	if err != nil {
		return &sumAnswer{Wrong: err.Error()}
	}
	return drawnAnswer(a)
}

func drawnAnswer(a sums.Answer) *sumAnswer {
	told := a.Told()
	out := &sumAnswer{Words: told.Words, Unread: told.Unread, Caution: app.CautionOfSum(told)}
	if told.Caution == sums.OfLeakage {
		out.Caution = meterCaution
	}
	for _, t := range told.Tables {
		drawn := table{Caption: t.Caption, Head: t.Head, Numbers: t.Numbers}
		for _, row := range t.Rows {
			var cells []cell
			for _, text := range row {
				cells = append(cells, cell{Text: text})
			}
			drawn.Rows = append(drawn.Rows, cells)
		}
		out.Tables = append(out.Tables, drawn)
	}
	if d, ok := a.(sums.Dial); ok && d.HasPicture() {
		if svg, err := picture.DialSVG(d.Drawn()); err == nil {
			out.Picture = inPage(svg)
		} else {
			out.Wrong = err.Error()
		}
	}
	return out
}

// lines are what was typed into a field that takes several, one a line or parted by
// semicolons; a comma may stand in a number.
func lines(text string) (list []string) {
	for part := range strings.FieldsFuncSeq(text, func(r rune) bool { return r == '\n' || r == '\r' || r == ';' }) {
		if part = strings.TrimSpace(part); part != "" {
			list = append(list, part)
		}
	}
	return list
}

func dateCodeFields() []*field {
	return []*field{
		{Name: "codes", Label: "Codes", Kind: "area", Wide: true, Hint: "One a line; a part's name before it, and “replaced” behind it where it is not original, like: C4 134-7812 replaced."},
		{Name: "made", Label: "Year made, if it is stated", Hint: "It stands over what codes propose."},
		{Name: "years", Label: "Years to think of", Hint: "Like 1955-1975; empty for 1945-1989."},
	}
}

func dateCodeSum(v url.Values) (sums.Answer, error) {
	in := sums.DateCodesTyped{Parts: measure.ReadDatedParts(v.Get("codes"))}
	var err error
	if in.StatedFrom, in.StatedTo, err = app.Years(strings.TrimSpace(v.Get("made"))); err != nil {
		return nil, err
	}
	if in.Window.First, in.Window.Last, err = app.Years(strings.TrimSpace(v.Get("years"))); err != nil {
		return nil, err
	}
	return answerOf(sums.ReadDateCodes(in))
}

// answerOf keeps an error from being an answer of nothing.
func answerOf[A sums.Answer](a A, err error) (sums.Answer, error) {
	if err != nil {
		return nil, err
	}
	return a, nil
}

func seriesField() *field {
	return &field{Name: "series", Label: "Series", Kind: "select", Options: append([]option{{"", "that of the tolerance"}}, options("E6", "E12", "E24", "E48", "E96")...)}
}

func valueFields() []*field {
	return []*field{
		{Name: "markings", Label: "Markings", Kind: "area", Wide: true, Hint: "One a line, like: 50-30-30 MFD 450V; 4K7J; 47 MMF."},
		{Name: "class", Label: "On a", Kind: "select", Options: []option{{"", "not said"}, {"C", "capacitor"}, {"R", "resistor"}, {"L", "coil"}, {"F", "fuse"}, {"Y", "crystal"}}},
		seriesField(),
	}
}

func valueSum(v url.Values) (sums.Answer, error) {
	return answerOf(sums.ReadValues(sums.ValuesTyped{Markings: lines(v.Get("markings")), Class: v.Get("class"), Series: v.Get("series")}))
}

func coloursFields() []*field {
	return []*field{{Name: "bands", Label: "Bands", Wide: true, Hint: "Like: yellow violet red gold. A semicolon parts resistors."}, seriesField()}
}

func coloursSum(v url.Values) (sums.Answer, error) {
	return answerOf(sums.ReadColours(lines(v.Get("bands")), v.Get("series")))
}

func dialFields() []*field {
	return []*field{
		{Name: "readings", Label: "Readings", Kind: "area", Wide: true, Hint: "One a line, with the station behind an equals sign where you know it, like: AM 663; 94.62=94.7."},
		{Name: "region", Label: "Made for", Kind: "select", Options: []option{{"americas", "the Americas"}, {"europe", "Europe or Africa"}, {"asia", "Asia or Oceania"}}},
		{Name: "year", Label: "Year made", Hint: "Before 1990 the American AM dial ends at 1600 kHz."},
		{Name: "readable", Label: "Read to, in kHz", Hint: "Empty for 2 on AM and 50 on FM."},
	}
}

func dialSum(v url.Values) (sums.Answer, error) {
	in := sums.DialTyped{Readings: lines(v.Get("readings")), Region: v.Get("region")}
	var err error
	if in.Year, err = wholeIn(v, "year"); err != nil {
		return nil, err
	}
	if in.Readable, err = wholeIn(v, "readable"); err != nil {
		return nil, err
	}
	return answerOf(sums.ReadDial(in))
}

func levelFields() []*field {
	u := measure.UsualLevels
	db := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	return []*field{
		{Name: "am", Label: "AM", Hint: "Like 95 mV; a semicolon parts several stations."}, {Name: "fm", Label: "FM"},
		{Name: "l", Label: "Left"}, {Name: "r", Label: "Right"},
		{Name: "wanted", Label: "Wanted channel"}, {Name: "leak", Label: "Leak in the other"},
		{Name: "others", Label: "Others", Wide: true, Hint: "Like 60 dB; 66 dB; 72 dB, or 1 V; 0.5 V."},
		{Name: "fmbelow", Label: "FM is low from, in dB", Kind: "number", Value: db(u.FMBelow)},
		{Name: "good", Label: "Channels equal within, in dB", Kind: "number", Value: db(u.BalanceGood)},
		{Name: "fault", Label: "A fault beyond, in dB", Kind: "number", Value: db(u.BalanceFault)},
	}
}

func levelSum(v url.Values) (sums.Answer, error) {
	var in sums.LevelsTyped
	for _, name := range []string{"am", "fm", "l", "r", "wanted", "leak"} {
		for _, text := range lines(v.Get(name)) {
			in.Readings = append(in.Readings, name+"="+text)
		}
	}
	in.Readings = append(in.Readings, lines(v.Get("others"))...)
	for name, to := range map[string]*float64{"fmbelow": &in.Rules.FMBelow, "good": &in.Rules.BalanceGood, "fault": &in.Rules.BalanceFault} {
		text := strings.TrimSpace(v.Get(name))
		db, err := strconv.ParseFloat(text, 64)
		if text != "" && (err != nil || db <= 0 || db > 100) {
			return nil, &app.Wrong{What: "threshold " + text, Why: "want a number of dB above 0"}
		}
		*to = db
	}
	return answerOf(sums.ReadLevels(in))
}

// networkOptions are the networks that a leakage is read over.
func networkOptions(none string) (list []option) {
	if none != "" {
		list = append(list, option{"", none})
	}
	for _, n := range measure.Networks {
		list = append(list, option{n.ID, n.Name})
	}
	return list
}

var amplitudeOptions = []option{{"", "not said"}, {events.RMS, "rms"}, {events.Peak, "peak"}}

func touchFields() []*field {
	return []*field{
		{Name: "readings", Label: "Voltage over the network", Hint: "Like 0.35 V; a semicolon parts several."},
		{Name: "network", Label: "Network", Kind: "select", Options: networkOptions("")},
		{Name: "amplitude", Label: "The meter showed", Kind: "select", Options: amplitudeOptions},
		{Name: "limit", Label: "Limit to hold it against", Hint: "Like 0.75 V, or 0.7 mA peak."},
		{Name: "hz", Label: "Line frequency, in Hz", Kind: "number", Value: "60"},
		{Name: "line", Label: "Line voltage", Hint: "With a capacitor to the chassis, like 120 V."},
		{Name: "capacitor", Label: "That capacitor", Hint: "Like 0.01 MFD."},
	}
}

func touchSum(v url.Values) (sums.Answer, error) {
	hz, err := wholeIn(v, "hz")
	if err != nil {
		return nil, err
	}
	return answerOf(sums.ReadLeakage(sums.LeakageTyped{Readings: lines(v.Get("readings")), Network: v.Get("network"), Hz: hz, Amplitude: v.Get("amplitude"),
		Limit: v.Get("limit"), Line: strings.TrimSpace(v.Get("line")), Capacitor: strings.TrimSpace(v.Get("capacitor"))}))
}

func dischargeFields() []*field {
	return []*field{
		{Name: "capacitor", Label: "Capacitor", Hint: "Like 40 MFD, or 50-30-30 MFD for a can."}, {Name: "resistor", Label: "Through", Hint: "Like 220K."},
		{Name: "start", Label: "From", Hint: "Like 350 V."}, {Name: "to", Label: "Down to, besides 50 and 30 V"},
	}
}

func dischargeSum(v url.Values) (sums.Answer, error) {
	return answerOf(sums.ReadDischarge(sums.DischargeTyped{Capacitor: v.Get("capacitor"), Resistor: v.Get("resistor"), Start: inVolts(v.Get("start")), To: inVolts(v.Get("to"))}))
}

// inVolts gives a number alone its unit.
func inVolts(text string) string {
	text = strings.TrimSpace(text)
	if _, err := strconv.ParseFloat(text, 64); err == nil {
		return text + " V"
	}
	return text
}

// wholeIn is a whole number of a form, 0 for nothing.
func wholeIn(v url.Values, name string) (int, error) {
	text := strings.TrimSpace(v.Get(name))
	if text == "" {
		return 0, nil
	}
	n, err := strconv.Atoi(text)
	if err != nil || n < 0 {
		return 0, &app.Wrong{What: name + " " + text, Why: "want a whole number"}
	}
	return n, nil
}
