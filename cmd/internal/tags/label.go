package tags

import (
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"oldhand/cmd/internal/paper"
	"oldhand/cmd/internal/qr"
)

// Label is what stands on a tag.
type Label struct {
	Tag    string    `json:"tag"`
	Maker  string    `json:"maker,omitempty"`
	Model  string    `json:"model,omitempty"`
	Serial string    `json:"serial,omitempty"`
	Code   string    `json:"code"`  // what the QR code holds; the bars hold the tag
	Since  time.Time `json:"since"` // when the set was first written down
}

// Size is a label's, in millimetres.
type Size struct{ W, H float64 }

// Usual is a label that goes on most sets.
var Usual = Size{60, 30}

const (
	// dot is the unit that modules are made of.
	dot = 0.125
	// leastQR and mostQR are how many dots a QR module has.
	leastQR, mostQR = 3, 8
	// leastBar and mostBar are how many a bar has.
	leastBar, mostBar = 2, 4

	edge     = 1.5 // that stays free around the letters
	overBars = 0.8 // that stays free above the bars
	barsHigh = 5.0 // at least
	leastPt  = 5.0 // of letters
	mostMM   = 200.0
)

// ParseSize reads a size such as 60x30; Usual where none is said.
func ParseSize(text string) (Size, error) {
	if text = strings.TrimSpace(text); text == "" {
		return Usual, nil
	}
	w, h, found := strings.Cut(strings.ToLower(strings.ReplaceAll(text, "×", "x")), "x")
	s := Size{}
	var errW, errH error
	s.W, errW = strconv.ParseFloat(strings.TrimSpace(w), 64)
	s.H, errH = strconv.ParseFloat(strings.TrimSpace(h), 64)
	if !found || errW != nil || errH != nil || !(s.W > 0 && s.H > 0 && s.W <= mostMM && s.H <= mostMM) {
		return Size{}, fmt.Errorf("label %q: want width and height in millimetres, such as 60x30", text)
	}
	return s, nil
}

// String is the size as ParseSize reads it.
func (s Size) String() string { return number(s.W) + "x" + number(s.H) }

func number(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// box is a black rectangle, words a line of text; places are in millimetres from the
// label's upper left corner.
type (
	box   struct{ x, y, w, h float64 }
	words struct {
		x, y float64 // y is the base line
		face paper.Face
		size float64 // points
		text string
	}
)

// Drawn is a label that was laid out.
type Drawn struct {
	Label
	Size  Size
	boxes []box
	texts []words
	Lacks string // what the letters lack, in a sentence; empty for nothing
}

// Make lays a label out. It refuses a size on which the codes could not be read.
func Make(l Label, size Size) (*Drawn, error) {
	code, err := qr.Make(l.Code)
	if err != nil {
		return nil, fmt.Errorf("tag %s: %w", l.Tag, err)
	}
	bars, err := qr.MakeBars(l.Tag)
	if err != nil {
		return nil, fmt.Errorf("tag %s: %w", l.Tag, err)
	}
	d := &Drawn{Label: l, Size: size}
	square, barred, ok := modules(size, code.Size(), bars.Size())
	high := size.H - 2*edge - barsRoom(size) - overBars
	if !ok || high < leastText {
		return nil, tooSmall(l, size, code.Size(), bars.Size())
	}
	side := float64(code.Size()) * square
	d.addCode(code, square, (size.H-side)/2)
	d.addBars(bars, barred, side-shared(square, barred))
	d.addWords(side, high)
	return d, nil
}

// leastText is the height that tag, name and serial take at the least.
const leastText = 9.0

func barsRoom(size Size) float64 { return max(barsHigh, size.H*0.24) }

// modules are the widths of a QR module and of a bar, the largest that go on a label.
func modules(size Size, code, bars int) (square, bar float64, ok bool) {
	for n := mostQR; n >= leastQR; n-- {
		square = float64(n) * dot
		side := float64(code) * square
		if side > size.H || side > size.W*0.45 && n > leastQR {
			continue
		}
		for m := mostBar; m >= leastBar; m-- {
			bar = float64(m) * dot
			if side-shared(square, bar)+float64(bars)*bar <= size.W {
				return square, bar, true
			}
		}
	}
	return 0, 0, false
}

// shared is how much white the two codes can have between them in common.
func shared(square, bar float64) float64 { return min(qr.Quiet*square, qr.QuietBars*bar) }

// TooSmall is returned for a size on which the codes don't go.
type TooSmall struct {
	Tag         string
	Size, Least Size
}

func (e *TooSmall) Error() string {
	return fmt.Sprintf("label %s mm is too small for tag %s: its codes and words need %s mm", e.Size, e.Tag, e.Least)
}

func tooSmall(l Label, size Size, code, bars int) error {
	side := float64(code) * leastQR * dot
	least := Size{math.Ceil(side - shared(leastQR*dot, leastBar*dot) + float64(bars)*leastBar*dot), math.Ceil(max(side, leastText+2*edge+barsHigh+overBars))}
	return &TooSmall{l.Tag, size, least}
}

func (d *Drawn) addCode(c qr.Code, module, top float64) {
	n := c.Size()
	for y := range n {
		for x := 0; x < n; x++ {
			from := x
			for x < n && c.Dark(x, y) {
				x++
			}
			if x > from {
				d.boxes = append(d.boxes, box{float64(from) * module, top + float64(y)*module, float64(x-from) * module, module})
			}
		}
	}
}

func (d *Drawn) addBars(b qr.Bars, module, left float64) {
	high := barsRoom(d.Size)
	for x := 0; x < b.Size(); x++ {
		from := x
		for x < b.Size() && b.Dark(x) {
			x++
		}
		if x > from {
			d.boxes = append(d.boxes, box{left + float64(from)*module, d.Size.H - edge - high, float64(x-from) * module, high})
		}
	}
}

// capitals is how high figures and capitals of the Go fonts are, in ems (read off
// the outlines of H and 1, rounded up).
const capitals = 0.75

// addWords puts the number, the name and the serial above the bars, as large as
// there is room, and spreads what is left over between them.
func (d *Drawn) addWords(left, high float64) {
	var spell paper.Speller
	wide := d.Size.W - left - edge
	name := spell.Spell(strings.TrimSpace(d.Maker + " " + d.Model))
	serial := ""
	if d.Serial != "" {
		serial = spell.Spell("no. " + d.Serial)
	}
	d.Lacks = spell.Says()
	lines := []words{{face: paper.Mono, text: d.Tag, size: high * 0.5 / capitals / paper.Point},
		{face: paper.Bold, text: name, size: min(high*0.19, 3.4) / paper.Point}, {face: paper.Regular, text: serial, size: min(high*0.175, 3.1) / paper.Point}}
	free := high
	for i := range lines {
		lines[i].fit(wide)
		free -= lines[i].size * paper.Point * capitals
	}
	gap := min(free/3, 2.2)
	y := edge + (free-2*gap)/2
	for _, l := range lines {
		y += l.size * paper.Point * capitals
		l.x, l.y = left, y
		d.texts = append(d.texts, l)
		y += gap
	}
}

// fit makes letters smaller where a line is too long for its room, and then shortens
// the line.
func (l *words) fit(wide float64) {
	if w := paper.Width(l.text, l.face, l.size); w > wide {
		l.size = max(l.size*wide/w*0.999, leastPt) // a hair less, or rounding shortens it
	}
	l.text = paper.Fit(l.text, l.face, l.size, wide)
}

// MakeAll lays labels out.
func MakeAll(labels []Label, size Size) (list []*Drawn, err error) {
	for _, l := range labels {
		d, err := Make(l, size)
		if err != nil {
			return nil, err
		}
		list = append(list, d)
	}
	return list, nil
}
