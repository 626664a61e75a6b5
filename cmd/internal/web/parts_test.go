package web

import (
	"bytes"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"

	"oldhand/cmd/internal/app"
	"oldhand/events"
	"oldhand/projections"
)

// drawn is one part as it stands in a page.
func drawn(t *testing.T, block string, v any) string {
	t.Helper()
	l, err := newLook()
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := l.draw(&b, "parts", block, v); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func has(t *testing.T, page string, texts ...string) {
	t.Helper()
	for _, text := range texts {
		if !strings.Contains(page, text) {
			t.Errorf("%q is not in %s", text, page)
		}
	}
}

func TestPartsDrawWhatTheyAreGiven(t *testing.T) {
	has(t, drawn(t, "interval", interval{Value: "42 %", Low: "31 %", High: "55 %", Of: "19 of 45"}), "42 %", "31 % to 55 %", "of 19 of 45")
	has(t, drawn(t, "table", table{Caption: "Models", Head: []string{"model", "units"}, Rows: [][]cell{{{Text: "R-950", Link: "/unit/10019"}, {Text: "6", Soft: true}}}, Numbers: map[int]bool{1: true}}),
		`<th scope="col">model`, `<th scope="col" class="num">units`, `<a href="/unit/10019">R-950</a>`, `class="num soft">6`, `aria-label="Models"`)
	has(t, drawn(t, "empty", "nothing yet"), "nothing yet")
	picture := drawn(t, "picture", &projections.Picture{Title: "Units", Desc: "One.", Bars: []projections.PictureBar{{Name: "R-950", Value: 0.5, Lo: 0.2, Hi: 0.8, Text: "5 of 10"}}})
	has(t, picture, "<figure>", `role="img"`)
	if strings.Contains(picture, "<style") {
		t.Error("the picture brings a style of its own, which the policy forbids")
	}
	if got := drawn(t, "picture", (*projections.Picture)(nil)); got != "" {
		t.Errorf("no picture draws %q", got)
	}
}

func everyKind() *form {
	return &form{ID: "all", Action: "/all", Submit: "Save", Once: "id", Hidden: map[string]string{"unit": "10019"}, Fields: []*field{
		{Name: "maker", Label: "Maker", Required: true, Focus: true, Suggest: []string{"Ostrel"}, Hint: "as on the label"},
		{Name: "complaint", Label: "Complaint", Kind: "area"},
		{Name: "outcome", Label: "Outcome", Kind: "select", Options: []option{{"", "not yet"}, {"repaired", "repaired"}}},
		{Name: "keep", Label: "Keep", Kind: "radio", Options: []option{{"1", "this"}, {"2", "that"}}},
		{Name: "again", Label: "Again", Kind: "checkbox"},
		{Name: "designator", Label: "Designator"},
		{Name: "in", Label: "In", Echo: "marking"},
		{Name: "out", Label: "Out", Echo: "marking"},
		{Name: "year", Label: "Year", Echo: "year"},
		{Name: "year made", Label: "Year made"},
	}}
}

func TestAFormKeepsWhatWasTypedAndSaysWhatIsWrongBesideIt(t *testing.T) {
	f := everyKind()
	typed := url.Values{"maker": {"Ostrel"}, "complaint": {"hums"}, "outcome": {"repaired"}, "keep": {"2"}, "again": {"yes"}, "designator": {"C1"}, "in": {"47 MMF"}, "out": {"as it was"}, "year": {"1965-67"}}
	r := httptest.NewRequest(http.MethodPost, "/all", strings.NewReader(typed.Encode()))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	if err := f.take(r); err != nil {
		t.Fatal(err)
	}
	f.blame(&app.Wrong{What: "--year 1965-67", Why: "is no year"})
	page := drawn(t, "form", f)
	has(t, page, `value="Ostrel"`, ">hums</textarea>", `<option value="repaired" selected>`, `value="2" checked`, `value="yes" checked`,
		"= 47 pF", "kept as text", "= 1965 to 1967", "<strong>is no year</strong>", `aria-invalid="true"`, `name="unit" value="10019"`, `<option value="Ostrel">`, "as on the label")
	if f.Error != nil {
		t.Errorf("said above the fields too: %+v", f.Error)
	}
}

func TestAnErrorThatIsAboutNoFieldStandsAboveThemAll(t *testing.T) {
	for _, err := range []error{errors.New("no room"), &app.NotHere{Unit: "10019", Why: "is not here"}, &app.Wrong{What: "the form", Why: "is odd"}, &events.Invalid{Clause: "shipped: no outcome"}} {
		f := everyKind()
		f.blame(err)
		if f.Error == nil {
			t.Fatalf("%v is said nowhere", err)
		}
		has(t, drawn(t, "form", f), `role="alert"`, f.Error.Words)
	}
	f := everyKind()
	f.blame(events.Received{Maker: "Ostrel", Complaint: strings.Repeat("x", events.MaxText+1)}.Validate())
	if f.Error != nil || f.field("complaint").Error == "" {
		t.Error("a clause about a field is not said beside it")
	}
}
