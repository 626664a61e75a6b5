package web

import (
	"fmt"
	"net/url"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/projections"
)

// echoes read back what is typed into a field, as the program understands it
// before it is saved. The other fields of the form are there too: what a value
// means may hang on them.
var echoes = map[string]func(text string, form url.Values) (string, error){
	"marking": func(text string, form url.Values) (string, error) {
		m, notes := app.Marking(text, app.Letters(form.Get("designator")))
		read := projections.MarkingText(m)
		if m.Volts > 0 {
			read += fmt.Sprintf(", %d V", m.Volts)
		}
		if read == "" && len(notes) == 0 {
			read = "kept as text" // without a designator's letter it may be anything
		}
		return joined(read, notes), nil
	},
	"year": func(text string, _ url.Values) (string, error) {
		from, to, err := app.Years(text)
		return events.YearsText(from, to), err
	},
	"when": func(text string, _ url.Values) (string, error) {
		w, err := app.ParseAt(text)
		return w.String(), err
	},
	"money": func(text string, form url.Values) (string, error) {
		minor, err := app.Money(text)
		return events.MoneyText(minor, strings.ToUpper(form.Get("currency"))), err
	},
	"answer": func(text string, _ url.Values) (string, error) {
		yes, err := app.YesNo(text)
		return choose(yes, "yes, go ahead", "no, declined"), err
	},
	"finding":   findingRead,
	"reading":   readingRead,
	"datecode":  func(text string, _ url.Values) (string, error) { return dateCodeRead(text) },
	"evidence":  func(text string, form url.Values) (string, error) { return evidenceRead(form.Get("evidence"), text) },
	"evidence2": func(text string, form url.Values) (string, error) { return evidenceRead(form.Get("evidence2"), text) },
}

func joined(first string, notes []string) string {
	if first == "" {
		return strings.Join(notes, "; ")
	}
	return strings.Join(append([]string{first}, notes...), "; ")
}

// readBack is what is understood of a text, or why it is not.
func readBack(as, text string, form url.Values) (read string, err error) {
	fn := echoes[as]
	if fn == nil || strings.TrimSpace(text) == "" {
		return "", nil
	}
	return fn(text, form)
}

// echo answers a field that is being typed in.
func echo(q *request) error {
	form := q.r.URL.Query()
	as, text := q.r.PathValue("as"), form.Get(form.Get("field"))
	read, err := readBack(as, text, form)
	switch {
	case as == "unit":
		read, err = q.unitRead(text)
	case as == "reading" && err == nil:
		read, err = q.besideUsual(read, text, form)
	}
	if err != nil {
		read = err.Error()
	}
	return q.part("parts", "echoed", read)
}
