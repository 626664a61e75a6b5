package projections

// Result is the one shape of an answer, for the command line, the page, paper
// and export alike.
type Result struct {
	Question string    `json:"question"`
	AsOf     string    `json:"as_of"`
	Rows     []any     `json:"rows"`
	Missing  []Missing `json:"missing"`
	Method   string    `json:"method"`
	Notes    []string  `json:"notes"`
	Picture  *Picture  `json:"-"`
}

// Missing says what an answer leaves out, and how much of it.
type Missing struct {
	What  string `json:"what"`
	Count int    `json:"count"`
}

// fill puts empty lists where there are none, so that JSON has no null there.
func (r *Result) fill() {
	if r.Rows == nil {
		r.Rows = []any{}
	}
	if r.Missing == nil {
		r.Missing = []Missing{}
	}
	if r.Notes == nil {
		r.Notes = []string{}
	}
}

func (r *Result) miss(what string, n int) {
	if n > 0 {
		r.Missing = append(r.Missing, Missing{what, n})
	}
}

func (r *Result) note(text string) { r.Notes = append(r.Notes, text) }

// Picture is the numbers of an answer's picture, and its finding in words. One
// of the lists is filled.
type Picture struct {
	Title, Desc string
	AxisX       string
	AxisY       string
	Curves      []PictureCurve
	Bars        []PictureBar
	Heat        *PictureHeat
	Trends      *PictureTrends
	Ranges      []PictureRange
}

// PictureCurve is a curve of steps with a band where it has one.
type PictureCurve struct {
	Name    string
	Steps   []CurveStep      // where it moves; before the first it is at 1
	Watched []PictureWatched // each day on which anything was seen, by day
	End     float64          // where the curve was last seen
}

// CurveStep is the height of a curve from a place on, which an answer and its picture
// share: the place, the height, its limits, and how many were watched to there at least.
type CurveStep [5]float64

// undefined are both limits where there are none.
const undefined = -1

func (s CurveStep) X() float64  { return s[0] }
func (s CurveStep) Y() float64  { return s[1] }
func (s CurveStep) Lo() float64 { return s[2] }
func (s CurveStep) Hi() float64 { return s[3] }

// Band reports whether it has limits.
func (s CurveStep) Band() bool { return s[3] != undefined }

// PictureWatched is how many were watched up to a day at least. A shop of many years
// has one for nearly each of its days, and more than those on which a curve moves.
type PictureWatched struct{ Day, Left int32 }

// PictureBar is a value with its interval.
type PictureBar struct {
	Name          string
	Value, Lo, Hi float64
	Text          string // the count behind it
}

// PictureRange is where the values of one row lie. Rows of one thing stand on
// one scale.
type PictureRange struct {
	Name, Of            string // what it is a range of, and what was measured
	In                  string // the unit
	Least, Middle, Most float64
	Low, High           float64 // the usual part of it
	Usual               bool    // it has one
	Text                string  // the count behind it
}

// PictureHeat is shares in a grid.
type PictureHeat struct {
	Columns, Rows []string
	Cells         [][]PictureCell // a list a row
}

// PictureCell is one share of a grid.
type PictureCell struct {
	Share   float64
	Of      int // zero where nothing was seen
	Flagged bool
}

// PictureTrends is a few values, each followed through the same columns.
type PictureTrends struct {
	Columns []string // from the earliest
	Rows    []PictureTrend
}

// PictureTrend is what one value was in each column, NaN where that is not
// known.
type PictureTrend struct {
	Name   string
	Values []float64
}
