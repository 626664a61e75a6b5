package paper

import (
	"bytes"
	"fmt"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// Ink is a colour of paper's few.
type Ink struct{ R, G, B int }

// The inks. Soft is 7 to 1 against white paper (WCAG 2.2), so that a poor printer
// still shows it.
var (
	Black = Ink{0, 0, 0}
	Soft  = Ink{0x50, 0x58, 0x60}
	Deep  = Ink{0x17, 0x59, 0x4f}
	Pale  = Ink{0xdd, 0xe8, 0xe4}
	Hair  = Ink{0xb4, 0xba, 0xb8}
	White = Ink{0xff, 0xff, 0xff}
)

// Doc is a PDF that is drawn on. Places are in millimetres from the upper left
// corner, sizes of letters in points. An error stays until the writing.
type Doc struct {
	pdf  *fpdf.Fpdf
	size Size
	has  [faces]bool
}

// New begins a document without a page. At is the date that it says it is of.
func New(size Size, title, author string, at time.Time) *Doc {
	p := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: size.W, Ht: size.H}})
	p.SetCatalogSort(true)
	p.SetCreationDate(at.UTC())
	p.SetModificationDate(at.UTC())
	p.SetAutoPageBreak(false, 0)
	p.SetMargins(0, 0, 0)
	p.SetLang("en")
	p.SetTitle(title, true)
	p.SetAuthor(author, true)
	p.SetCreator("oldhand", true)
	return &Doc{pdf: p, size: size}
}

// Size is the size of its pages.
func (d *Doc) Size() Size { return d.size }

// Page begins a page.
func (d *Doc) Page() { d.pdf.AddPageFormat("P", fpdf.SizeType{Wd: d.size.W, Ht: d.size.H}) }

// Pages is how many there are.
func (d *Doc) Pages() int { return d.pdf.PageCount() }

// Text prints one line; y is its base line. What no font has, and a Speller did not
// spell, is left out: the library writes past its tables at a sign behind the plane that
// the fonts' letters lie in.
func (d *Doc) Text(x, y float64, f Face, size float64, ink Ink, text string) {
	text = strings.Map(func(r rune) rune {
		if r >= bmp {
			return -1
		}
		return r
	}, text)
	if text == "" {
		return
	}
	name := fmt.Sprintf("go%d", f)
	if !d.has[f] {
		d.has[f] = true
		d.pdf.AddUTF8FontFromBytes(name, "", bytes.Clone(cuts()[f].ttf))
	}
	d.pdf.SetFont(name, "", size)
	d.pdf.SetTextColor(ink.R, ink.G, ink.B)
	d.pdf.Text(x, y, text)
}

// Fill fills a rectangle.
func (d *Doc) Fill(x, y, w, h float64, ink Ink) {
	d.pdf.SetFillColor(ink.R, ink.G, ink.B)
	d.pdf.Rect(x, y, w, h, "F")
}

// Frame draws a rectangle's edge.
func (d *Doc) Frame(x, y, w, h, thick float64, ink Ink) {
	d.pdf.SetDrawColor(ink.R, ink.G, ink.B)
	d.pdf.SetLineWidth(thick)
	d.pdf.Rect(x, y, w, h, "D")
}

// Line draws a line.
func (d *Doc) Line(x1, y1, x2, y2, thick float64, ink Ink) {
	d.pdf.SetDrawColor(ink.R, ink.G, ink.B)
	d.pdf.SetLineWidth(thick)
	d.pdf.Line(x1, y1, x2, y2)
}

// Ring draws a circle: filled with the ink, or its edge on white.
func (d *Doc) Ring(x, y, r, thick float64, ink Ink, filled bool) {
	inside := White
	if filled {
		inside = ink
	}
	d.pdf.SetFillColor(inside.R, inside.G, inside.B)
	d.pdf.SetDrawColor(ink.R, ink.G, ink.B)
	d.pdf.SetLineWidth(thick)
	d.pdf.Circle(x, y, r, "FD")
}

// Write writes the document. It can be written once.
func (d *Doc) Write(w io.Writer) error {
	if err := d.pdf.Output(w); err != nil {
		return fmt.Errorf("write the PDF: %w", err)
	}
	return nil
}
