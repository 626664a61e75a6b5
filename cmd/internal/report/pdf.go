package report

import (
	"fmt"
	"io"

	"oldhand/cmd/internal/paper"
)

// Printed says what came of printing.
type Printed struct {
	Sheets  int    `json:"sheets"`
	LeftOut int    `json:"entries_left_out"` // of a visit too long for two sheets
	Lacking string `json:"lacking,omitempty"`
}

// PDF writes the record for paper.
func PDF(out io.Writer, r *Record, size paper.Size) (Printed, error) {
	s, err := arrange(r, size)
	if err != nil {
		return Printed{}, err
	}
	d := paper.New(size, "Service record of "+r.Title()+", "+r.Where(), r.Shop, r.Recorded)
	for i, page := range s.pages {
		d.Page()
		for _, b := range page {
			b.draw(d, b.y)
		}
		foot(d, r, i+1, len(s.pages))
	}
	return Printed{len(s.pages), s.left, s.lacks}, d.Write(out)
}

// foot stands on each sheet: the sheets may be parted.
func foot(d *paper.Doc, r *Record, n, of int) {
	size := d.Size()
	y := size.H - bottom + 7
	d.Line(side, y-3.6, size.W-side, y-3.6, 0.2, paper.Hair)
	var sp paper.Speller
	left := paper.Fit(sp.Spell(r.Shop+" · service record "+r.Where()), paper.Regular, small, size.W-2*side-60)
	d.Text(side, y, paper.Regular, small, paper.Soft, left)
	right := fmt.Sprintf("no certificate of safety · sheet %d of %d", n, of)
	d.Text(size.W-side-paper.Width(right, paper.Regular, small), y, paper.Regular, small, paper.Soft, right)
}

// compose makes all blocks in the order in which an owner reads them.
func (w *writer) compose() []block {
	r := w.r
	w.title()
	w.facts(r.Facts())
	w.complaint()
	w.entries("What was found", r.Found, "finding", "Nothing is written down.")
	w.parts()
	w.entries("Work", r.Work, "entry", "")
	w.readings()
	w.test()
	w.bullets("Left out, and not done", r.NotDone)
	w.bullets("Warranty and charge", r.Money())
	w.entries("Notes of the shop", r.Notes, "note", "")
	w.advice()
	w.about()
	return w.list
}

func (w *writer) entries(title string, list []Entry, noun, none string) {
	if len(list) == 0 && none == "" {
		return
	}
	w.heading(title)
	if len(list) == 0 {
		w.paragraph(none, paper.Regular, body, paper.Soft, 0)
	}
	n := w.shown(len(list))
	for _, e := range list[:n] {
		w.dated(e.At, e.Line)
	}
	w.more(len(list)-n, noun, plural[noun])
}

// plural are the nouns that don't only add an s.
var plural = map[string]string{"finding": "findings", "entry": "entries", "note": "notes"}

// dated is a line behind its day.
func (w *writer) dated(at, text string) {
	const days = 20.0
	if at == "unknown" {
		at = "day unknown"
	}
	lines := w.lines(text, paper.Regular, body, w.wide-days)
	high := w.leading(body)
	w.add(float64(len(lines))*high+0.8, func(d *paper.Doc, y float64) {
		d.Text(side, y+high*0.8, paper.Regular, small, paper.Soft, at)
		for i, l := range lines {
			d.Text(side+days, y+high*(float64(i)+0.8), paper.Regular, body, paper.Black, l)
		}
	})
}

// bullets are sentences, each behind a stroke.
func (w *writer) bullets(title string, list []string) {
	if len(list) == 0 {
		return
	}
	w.heading(title)
	for _, s := range list {
		w.bullet(s, body)
	}
}

func (w *writer) bullet(text string, size float64) {
	const in = 4.0
	lines := w.lines(text, paper.Regular, size, w.wide-in)
	high := w.leading(size)
	w.add(float64(len(lines))*high+0.6, func(d *paper.Doc, y float64) {
		d.Text(side, y+high*0.8, paper.Regular, size, paper.Deep, "–")
		for i, l := range lines {
			d.Text(side+in, y+high*(float64(i)+0.8), paper.Regular, size, paper.Black, l)
		}
	})
}

func (w *writer) parts() {
	list := w.r.Parts
	if len(list) == 0 {
		return
	}
	w.heading("Parts out and in")
	n := w.shown(len(list))
	var rows []rowOf
	for _, p := range list[:n] {
		rows = append(rows, rowOf{cells: []string{p.Part, orElse(p.OutWords(), "–"), orElse(p.InWords(), "–"), joined("; ", p.Reason, p.Text)}})
	}
	w.table([]column{{title: "part", share: 3}, {title: "out", share: 3}, {title: "in", share: 3}, {title: "why", share: 2.4}}, rows)
	w.more(len(list)-n, "part")
}

func (w *writer) readings() {
	list := w.r.Readings
	if len(list) == 0 {
		return
	}
	w.heading("Readings before and after")
	n := w.shown(len(list))
	cols := []column{{title: "point", share: 3.2}, {title: "as found", share: 1.6, right: true}, {title: "as left", share: 1.6, right: true}}
	unsaid := w.r.Unsaid()
	if unsaid {
		cols = append(cols, column{title: "not said which", share: 1.6, right: true})
	}
	cols = append(cols, column{title: "limits", share: 2.2}, column{title: "each on a scale of its own", fixed: 40})
	drawn, limits := false, false
	var rows []rowOf
	for _, p := range list[:n] {
		cells := []string{p.Point, orElse(p.AsFound, "–"), orElse(p.AsLeft, "–")}
		if unsaid {
			cells = append(cells, p.Read)
		}
		_, _, banded := p.Gauge.Band()
		drawn, limits = drawn || p.Gauge.Drawn(), limits || banded && p.Gauge.Drawn()
		rows = append(rows, rowOf{cells: append(cells, orElse(p.Limits, "none written")), draw: drawGauge(p.Gauge)})
	}
	if !drawn {
		cols = cols[:len(cols)-1]
	}
	w.table(cols, rows)
	w.more(len(list)-n, "reading")
	if drawn {
		w.legend(limits)
	}
	if w.r.HasSafety() {
		w.paragraph(OnlyReadings, paper.Italic, small+0.4, paper.Black, 0)
	}
}

// legend says what the signs of the gauges are.
func (w *writer) legend(limits bool) {
	w.add(5, func(d *paper.Doc, y float64) {
		mid, x := y+2.8, side+w.wide-40
		word := func(text string) {
			d.Text(x, mid+0.95, paper.Regular, small, paper.Soft, text)
			x += paper.Width(text, paper.Regular, small) + 3
		}
		d.Ring(x+1, mid, 0.95, 0.3, paper.Black, false)
		x += 3
		word("found")
		d.Ring(x+1, mid, 0.95, 0.3, paper.Black, true)
		x += 3
		word("left")
		if !limits {
			return
		}
		d.Fill(x, mid-1.3, 4, 2.6, paper.Pale)
		d.Line(x, mid-1.3, x, mid+1.3, 0.3, paper.Deep)
		d.Line(x+4, mid-1.3, x+4, mid+1.3, 0.3, paper.Deep)
		x += 5.2
		word("limits")
	})
}
