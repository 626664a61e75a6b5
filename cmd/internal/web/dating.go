package web

import (
	"net/url"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/sums"
	"oldhand/events/measure"
)

// Date codes on the form that says what a unit is: before when the set was not
// built, and a year made that a person takes over with one key, one click or, without
// script, one button. Nothing is proposed where a year is typed or stated already.

// evidences are the numbers behind the names of the form's pieces of evidence.
var evidences = []string{"", "2"}

// codesIn are the date codes that the form's evidence holds.
func codesIn(form url.Values) (parts []measure.DatedPart) {
	for _, n := range evidences {
		if strings.Contains(strings.ToLower(form.Get("evidence"+n)), "date") {
			parts = append(parts, measure.ReadDatedParts(form.Get("reads"+n))...)
		}
	}
	return parts
}

// datesRead is what the codes say together; none where not one can be read.
func datesRead(form url.Values) *sums.Built {
	in := sums.DateCodesTyped{Parts: codesIn(form)}
	var err error
	if in.StatedFrom, in.StatedTo, err = app.Years(strings.TrimSpace(form.Get("year"))); err != nil || in.StatedFrom == 0 {
		in.StatedFrom, in.StatedTo, _ = app.Years(strings.ReplaceAll(form.Get("made"), " to ", "-")) // as this page wrote it
	}
	d, err := sums.ReadDateCodes(in)
	if err != nil {
		return nil
	}
	return d.Built
}

// proposed is the year that the form's codes propose, 0 for none.
func proposed(form url.Values) int {
	if b := datesRead(form); b != nil && strings.TrimSpace(form.Get("year")) == "" {
		return b.Proposed
	}
	return 0
}

// evidenceRead reads date codes, and what they say of the set; of other evidence
// there is nothing to read.
func evidenceRead(form url.Values, n string) (string, error) {
	if !strings.Contains(strings.ToLower(form.Get("evidence"+n)), "date") {
		return "", nil
	}
	read, err := dateCodeRead(form.Get("reads" + n))
	if b := datesRead(form); err == nil && b != nil {
		read += ". " + strings.Join(b.Words(), " ")
	}
	return read, err
}

// dating has a form know the year that its unit has, and where it is read back
// without script.
func (q *request) dating(f *form, d desk, ref string) {
	f.Hidden["made"], f.Hidden["do"] = d.unit.Year, "identify"
	f.Reread = "/unit/" + url.PathEscape(ref) + "/bench"
}

// readAgain draws a form with what its address holds: what was typed, how it is
// read, and a year that was taken over.
func (q *request) readAgain(f *form) {
	v := q.r.URL.Query()
	if f.Reread == "" || !v.Has("reread") && !v.Has("take") {
		return
	}
	if year, err := strconv.Atoi(v.Get("take")); err == nil && v.Get("year") == "" {
		v.Set("year", strconv.Itoa(year))
	}
	f.fill(v)
	f.Propose = proposed(v)
}

// coloursRead reads colour words where no designator says what the part is.
func coloursRead(text string) string {
	p, err := measure.ParsePart(text, "R")
	if err != nil || len(p.Sections) != 1 || strings.ContainsAny(text, "0123456789") {
		return ""
	}
	return strings.TrimSpace(p.Sections[0].Canonical()+" "+p.Tolerance.String()) + " on a resistor"
}
