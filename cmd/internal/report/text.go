package report

import (
	"fmt"
	"strings"
	"unicode/utf8"

	"oldhand/cmd/internal/shown"
)

// columns is how wide a line is in a terminal.
const columns = 78

// Text is the whole record for a terminal or a plain letter. What was typed is
// shown and never obeyed: control characters are left out.
func (r *Record) Text() string {
	t := &typed{}
	t.line(r.Shop)
	t.line("Service record " + r.Where())
	t.gap()
	t.line(r.Title())
	for _, f := range r.Facts() {
		t.named(f)
	}
	t.head("In your words")
	t.para("  ", orElse(quoted(r.Complaint), "No complaint was written down."))
	for _, f := range r.CameWith() {
		t.named(f)
	}
	t.entries("What was found", r.Found, "Nothing is written down.")
	t.parts(r.Parts)
	t.entries("Work", r.Work, "")
	t.readings(r)
	t.head("Final test")
	t.para("  ", orElse(r.Verdict(), "None is written down."))
	for _, e := range r.Earlier {
		t.para("  ", "Before that: "+e.Words())
	}
	t.list("Left out, and not done", r.NotDone)
	t.list("Warranty and charge", r.Money())
	t.entries("Notes of the shop", r.Notes, "")
	t.list("Care", r.Care)
	t.list("Cautions", r.Cautions)
	t.list("About this record", append(r.Disputed(), r.About()...))
	return t.String()
}

func quoted(s string) string {
	if s == "" {
		return ""
	}
	return "“" + s + "”"
}

// typed is text in lines.
type typed struct{ strings.Builder }

func (t *typed) gap() { t.WriteByte('\n') }

func (t *typed) line(s string) { t.WriteString(plain(s) + "\n") }

func (t *typed) head(s string) {
	t.gap()
	t.line(s)
}

func (t *typed) named(f Fact) { t.para(fmt.Sprintf("  %-12s ", f.Name), f.Value) }

func (t *typed) list(title string, list []string) {
	if len(list) == 0 {
		return
	}
	t.head(title)
	for _, s := range list {
		t.para("  - ", s)
	}
}

func (t *typed) entries(title string, list []Entry, none string) {
	if len(list) == 0 && none == "" {
		return
	}
	t.head(title)
	if len(list) == 0 {
		t.para("  ", none)
	}
	for _, e := range list {
		t.para(fmt.Sprintf("  %-10s  ", e.At), e.Line)
	}
}

func (t *typed) parts(list []Part) {
	if len(list) == 0 {
		return
	}
	t.head("Parts out and in")
	rows := [][]string{{"part", "out", "in", "why"}}
	for _, p := range list {
		rows = append(rows, []string{p.Part, p.OutWords(), p.InWords(), joined("; ", p.Reason, p.Text)})
	}
	t.table(rows)
}

func (t *typed) readings(r *Record) {
	if len(r.Readings) == 0 {
		return
	}
	t.head("Readings before and after")
	rows := [][]string{{"point", "as found", "as left", "not said which", "limits"}}
	for _, p := range r.Readings {
		rows = append(rows, []string{p.Point, p.AsFound, p.AsLeft, p.Read, orElse(p.Limits, "none written")})
	}
	t.table(rows)
	if r.HasSafety() {
		t.para("  ", OnlyReadings)
	}
}

// table leaves out columns in which nothing stands.
func (t *typed) table(rows [][]string) {
	wide := make([]int, len(rows[0]))
	for i, row := range rows {
		for j, c := range row {
			rows[i][j] = plain(c)
			if i > 0 && c != "" || j == 0 {
				wide[j] = max(wide[j], utf8.RuneCountInString(rows[i][j]), utf8.RuneCountInString(rows[0][j]))
			}
		}
	}
	for _, row := range rows {
		var b strings.Builder
		for j, c := range row {
			if wide[j] > 0 {
				b.WriteString("  " + c + strings.Repeat(" ", wide[j]-utf8.RuneCountInString(c)))
			}
		}
		t.line(strings.TrimRight(b.String(), " "))
	}
}

// para breaks a text into lines behind a lead.
func (t *typed) para(lead, text string) {
	indent := strings.Repeat(" ", utf8.RuneCountInString(lead))
	line, at := lead, 0
	for _, word := range strings.Fields(plain(text)) {
		if at > 0 && utf8.RuneCountInString(line)+utf8.RuneCountInString(word) >= columns {
			t.line(strings.TrimRight(line, " "))
			line = indent
		} else if at > 0 {
			line += " "
		}
		line, at = line+word, at+1
	}
	t.line(line)
}

// plain is a text on one line, without what a terminal obeys.
func plain(s string) string { return shown.Line(strings.ReplaceAll(s, "\n", " ")) }
