package report

import (
	"strings"

	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/qr"
	"oldhand/events"
)

// title is the head of the first sheet: whose paper it is, of what, and the tag,
// also for a scanner, so that the set is found at once if it ever comes back.
func (w *writer) title() {
	r := w.r
	const codeSide = 19.0
	room := w.wide - 62
	shop := paper.Fit(w.spell.Spell(r.Shop), paper.Bold, 16, room)
	name := w.lines(r.Title(), paper.Bold, 13, room)
	name = name[:min(2, len(name))]
	tag := w.spell.Spell(r.Unit.Tag)
	high := max(16.6+5.6*float64(len(name)), codeSide+1)
	w.add(high+1.5, func(d *paper.Doc, y float64) {
		right := side + w.wide
		if w.code != nil {
			drawCode(d, w.code, right-codeSide, y-1, codeSide)
			right -= codeSide + 1.5
		}
		if tag != "" {
			const size = 19
			d.Text(right-paper.Width("tag", paper.Regular, small), y+3.4, paper.Regular, small, paper.Soft, "tag")
			d.Text(right-paper.Width(tag, paper.Mono, size), y+10.4, paper.Mono, size, paper.Black, tag)
		}
		d.Text(side, y+5.4, paper.Bold, 16, paper.Deep, shop)
		d.Text(side, y+10.4, paper.Regular, 9.6, paper.Soft, "Service record")
		for i, l := range name {
			d.Text(side, y+18.2+5.6*float64(i), paper.Bold, 13, paper.Black, l)
		}
		d.Line(side, y+high, side+w.wide, y+high, 0.5, paper.Deep)
	})
}

// codeOf is the tag as a QR code. A record without it is a record all the same.
func codeOf(r *Record) *qr.Code {
	if r.Unit.Tag == "" {
		return nil
	}
	c, err := qr.Make(r.Unit.Tag)
	if err != nil {
		return nil
	}
	return &c
}

// drawCode draws a QR code with its quiet zone into a square.
func drawCode(d *paper.Doc, c *qr.Code, x, y, size float64) {
	n := c.Size()
	one := size / float64(n)
	for row := range n {
		for col := 0; col < n; col++ {
			from := col
			for col < n && c.Dark(col, row) {
				col++
			}
			if col > from {
				d.Fill(x+float64(from)*one, y+float64(row)*one, float64(col-from)*one, one, paper.Black)
			}
		}
	}
}

// facts stand in three columns, each value below its name.
func (w *writer) facts(list []Fact) {
	const cols = 3
	wide := (w.wide - gutter*(cols-1)) / cols
	line := w.leading(body)
	for i := 0; i < len(list); i += cols {
		some := list[i:min(i+cols, len(list))]
		lines, most := make([][]string, len(some)), 1
		for j, f := range some {
			lines[j] = w.lines(f.Value, paper.Regular, body, wide)
			most = max(most, len(lines[j]))
		}
		w.add(3.6+float64(most)*line+0.9, func(d *paper.Doc, y float64) {
			for j, f := range some {
				x := side + float64(j)*(wide+gutter)
				d.Text(x, y+3.1, paper.Regular, small-0.6, paper.Soft, f.Name)
				for k, l := range lines[j] {
					d.Text(x, y+3.6+line*(float64(k)+0.72), paper.Regular, body, paper.Black, l)
				}
			}
		})
	}
}

// complaint is in the owner's words, so it stands as a quotation.
func (w *writer) complaint() {
	w.heading("In your words")
	if w.r.Complaint == "" {
		w.paragraph("No complaint was written down.", paper.Regular, body, paper.Soft, 0)
	} else {
		w.paragraph(quoted(w.r.Complaint), paper.Italic, body+0.8, paper.Black, 0)
	}
	for _, f := range w.r.CameWith() {
		w.paragraph(f.Name+": "+f.Value, paper.Regular, body, paper.Black, 0)
	}
}

// test is the verdict in a frame, for it is what is looked for first.
func (w *writer) test() {
	w.heading("Final test")
	text, ink := w.r.Verdict(), paper.Black
	if text == "" {
		text, ink = "None is written down.", paper.Soft
	}
	const pad = 2.6
	lines := w.lines(text, paper.Bold, body+0.6, w.wide-2*pad)
	line := w.leading(body + 0.6)
	high := float64(len(lines))*line + pad
	w.add(high+1.6, func(d *paper.Doc, y float64) {
		d.Frame(side, y, w.wide, high, 0.35, paper.Deep)
		for i, l := range lines {
			d.Text(side+pad, y+pad/2+line*(float64(i)+0.78), paper.Bold, body+0.6, ink, l)
		}
	})
	n := w.shown(len(w.r.Earlier))
	for _, t := range w.r.Earlier[:n] {
		w.paragraph("before that: "+t.Words(), paper.Regular, body, paper.Soft, 0)
	}
	w.more(len(w.r.Earlier)-n, "earlier test")
}

// advice is care and cautions side by side, on one sheet.
func (w *writer) advice() {
	const size = small + 0.5
	wide := (w.wide - 8) / 2
	left := w.bulletLines(w.r.Care, size, wide-3)
	right := w.bulletLines(w.r.Cautions, size, wide-3)
	line := w.leading(size)
	high := float64(max(linesIn(left), linesIn(right)))*line + 7 + 0.8*float64(max(len(left), len(right)))
	w.add(high+3.4, func(d *paper.Doc, y float64) {
		y += 2.2
		for i, part := range []struct {
			title string
			list  [][]string
		}{{"Care", left}, {"Cautions", right}} {
			x := side + float64(i)*(wide+8)
			if i == 1 {
				d.Fill(x-3.2, y, 0.9, high, paper.Deep)
			}
			d.Text(x, y+3.6, paper.Bold, head, paper.Deep, part.title)
			at := y + 6.4
			for _, lines := range part.list {
				d.Text(x, at+line*0.8, paper.Regular, size, paper.Deep, "–")
				for k, l := range lines {
					d.Text(x+3, at+line*(float64(k)+0.8), paper.Regular, size, paper.Black, l)
				}
				at += float64(len(lines))*line + 0.8
			}
		}
	})
}

func (w *writer) bulletLines(list []string, size, wide float64) (all [][]string) {
	for _, s := range list {
		all = append(all, paper.Wrap(w.spell.Spell(s), paper.Regular, size, wide))
	}
	return all
}

func linesIn(all [][]string) (n int) {
	for _, lines := range all {
		n += len(lines)
	}
	return n
}

// about is what is not settled, what is left out, and how far all of it goes.
func (w *writer) about() {
	w.heading("About this record")
	list := w.r.Disputed()
	n := w.shown(len(list))
	for _, s := range list[:n] {
		w.bullet(s, body)
	}
	w.more(len(list)-n, "fact that is not settled", "facts that are not settled")
	if w.left > 0 || w.cut {
		w.bullet(w.cutWords(), body)
	}
	for _, s := range w.r.About() {
		w.bullet(s, small+0.5)
	}
	if s := w.spell.Says(); s != "" {
		w.bullet(s, small+0.5)
	}
}

// cutWords say what did not fit on two sheets, and where it is.
func (w *writer) cutWords() string {
	var what []string
	if w.left > 0 {
		what = append(what, events.Count(w.left, "entry is", "entries are")+" not on this paper")
	}
	if w.cut {
		what = append(what, "long texts are cut")
	}
	return "This visit was too long for two sheets: " + strings.Join(what, ", and ") + ". All of it stands in the shop's book under " + w.r.Where() + "; ask the shop for it."
}
