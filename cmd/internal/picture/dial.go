package picture

import (
	"errors"
	"fmt"
	"math"
)

// Dial is the readings of a set's dial, each where its station lies and as far up
// as it reads high.
type Dial struct {
	Title, Desc string
	Panels      []DialPanel // one a band
}

// DialPanel is one band. All places are in kHz.
type DialPanel struct {
	Name        string // such as AM
	Unit        string // of the axis, such as MHz
	PerUnit     float64
	First, Last float64 // of the band's channels
	Readable    float64 // how closely the dial is read
	Points      []DialPoint
	Line        *DialTrend
}

// DialPoint is a reading at a station, or at one of two that it may be.
type DialPoint struct {
	Station, Error float64
	Mark           DialMark
}

// DialMark is how sure the station is.
type DialMark uint8

// The marks: a full dot, a ring, a cross.
const (
	DialKnown DialMark = iota
	DialGuess
	DialHalfway
)

// DialTrend is the line through the readings, from the outermost station to the
// other.
type DialTrend struct{ Low, High, AtLow, AtHigh float64 }

const (
	dialHeight = 150.0
	dialMark   = 4.0
	dialMost   = 1e6 // kHz off; more is no dial
)

// DialSVG draws a dial's readings against their errors. It refuses a dial without
// a reading, and places that are no numbers or lie beyond any dial.
func DialSVG(d Dial) ([]byte, error) {
	var body pen
	y := headOf(&body, d.Title, d.Desc)
	if len(d.Panels) == 0 {
		return nil, fmt.Errorf("draw %q: %w", d.Title, errNothing)
	}
	marks, lined := map[DialMark]bool{}, false
	for _, p := range d.Panels {
		if err := checkDial(p); err != nil {
			return nil, fmt.Errorf("draw %q: %s: %w", d.Title, p.Name, err)
		}
		y = p.draw(&body, y)
		lined = lined || p.Line != nil
		for _, pt := range p.Points {
			marks[pt.Mark] = true
		}
	}
	y = dialLegend(&body, marks, lined, y)
	return wrapped(sheetOf{class: "pic", title: d.Title, desc: d.Desc, width: wide, height: y + margin}, body.Bytes(), Stylesheet()), nil
}

func checkDial(p DialPanel) error {
	if len(p.Points) == 0 {
		return errors.New("it has no readings")
	}
	if !finite(p.First, p.Last, p.Readable, p.PerUnit) || p.Last <= p.First || p.PerUnit <= 0 || p.Readable < 0 {
		return fmt.Errorf("a band from %v to %v kHz is none", p.First, p.Last)
	}
	for _, pt := range p.Points {
		if !finite(pt.Station, pt.Error) || math.Abs(pt.Error) > dialMost || pt.Station < p.First || pt.Station > p.Last {
			return fmt.Errorf("a reading at %v kHz, %v off, is beyond the dial", pt.Station, pt.Error)
		}
	}
	if l := p.Line; l != nil && (!finite(l.Low, l.High, l.AtLow, l.AtHigh) || max(math.Abs(l.AtLow), math.Abs(l.AtHigh)) > dialMost) {
		return errors.New("its line is beyond the dial")
	}
	return nil
}

func (p DialPanel) draw(b *pen, top float64) (bottom float64) {
	top += 16
	b.fitted("soft small", margin, top-4, "start", p.Name+": how far the dial reads high (up) or low, in kHz", wide-2*margin, smallLetters)
	reach := p.reach()
	x := scale{p.First, p.Last, plotLeft, plotRight}
	y := upright(-reach, reach, top+8, top+8+dialHeight)
	for _, v := range ticks(-reach, reach, 7, false) {
		b.line("grid", plotLeft, y.at(v), plotRight, y.at(v))
		b.text("soft small", plotLeft-5, y.at(v)+3.5, "end", figure(v))
	}
	b.line("axis", plotLeft, y.at(0), plotRight, y.at(0))
	if p.Readable > 0 {
		b.line("middle", plotLeft, y.at(p.Readable), plotRight, y.at(p.Readable))
		b.line("middle", plotLeft, y.at(-p.Readable), plotRight, y.at(-p.Readable))
	}
	if l := p.Line; l != nil {
		b.line("line1 dash1", x.at(l.Low), y.at(l.AtLow), x.at(l.High), y.at(l.AtHigh))
	}
	for _, pt := range p.Points {
		drawMark(b, pt.Mark, x.at(pt.Station), y.at(pt.Error))
	}
	bottom = y.from
	b.line("axis", plotLeft, bottom, plotRight, bottom)
	for _, v := range ticks(p.First/p.PerUnit, p.Last/p.PerUnit, 7, false) {
		b.line("axis", x.at(v*p.PerUnit), bottom, x.at(v*p.PerUnit), bottom+4)
		b.text("soft small", x.at(v*p.PerUnit), bottom+15, "middle", figure(v))
	}
	b.text("soft small", (plotLeft+plotRight)/2, bottom+29, "middle", p.Unit+", the station")
	return bottom + 38
}

// reach is how far the axis goes either way: past every reading, and past what can
// be read on the dial, so that a dial that is right looks right.
func (p DialPanel) reach() float64 {
	most := 3 * p.Readable
	for _, pt := range p.Points {
		most = max(most, math.Abs(pt.Error))
	}
	if p.Line != nil {
		most = max(most, math.Abs(p.Line.AtLow), math.Abs(p.Line.AtHigh))
	}
	return max(1.15*most, 1)
}

func drawMark(b *pen, m DialMark, x, y float64) {
	switch m {
	case DialKnown:
		b.shape("circle", "class", "dot0", "cx", x, "cy", y, "r", dialMark)
	case DialGuess:
		b.shape("circle", "class", "line0", "cx", x, "cy", y, "r", dialMark)
	default:
		b.path("line0", fmt.Sprintf("M%s %sL%s %sM%s %sL%s %s", num(x-dialMark), num(y-dialMark), num(x+dialMark), num(y+dialMark),
			num(x-dialMark), num(y+dialMark), num(x+dialMark), num(y-dialMark)))
	}
}

// dialLegend says what the marks and lines that were drawn mean.
func dialLegend(b *pen, drawn map[DialMark]bool, lined bool, y float64) float64 {
	for _, row := range []struct {
		mark DialMark
		says string
	}{{DialKnown, "the station is known"}, {DialGuess, "nearest channel, a guess"}, {DialHalfway, "halfway between two, either of them"}} {
		if drawn[row.mark] {
			y += 17
			drawMark(b, row.mark, margin+dialMark, y-4)
			b.text("ink", margin+46, y, "start", row.says)
		}
	}
	for _, row := range []struct{ class, says string }{{"line1 dash1", "the line through the readings"}, {"middle", "how closely the dial can be read"}} {
		if !lined && row.class != "middle" {
			continue
		}
		y += 17
		b.line(row.class, margin, y-4, margin+38, y-4)
		b.text("ink", margin+46, y, "start", row.says)
	}
	return y
}
