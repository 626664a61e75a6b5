package web

import (
	"fmt"
	"slices"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// past is a unit's past as its page shows it.
type past struct {
	Ref, Alive string
	Tag, Name  string
	Serials    []string
	Made, Kind string
	Rank       string // the 6th of its model
	Model      string // the page of its model
	State      string
	Warranty   string
	Long       string // how its stay compares
	Visits     []stay // the latest first
	Loose      []entry
	Withdrawn  []entry
	Mended     []app.Mend
	Tracks     []track
	Unread     int
	Conflicts  []*form
	Likely     []*pairing
	Joined     []*pairing
	Parted     []unitLine
	Kept       int  // how many photos, recordings and papers there are of it
	Away       bool // it is on no bench
}

// stay is one visit.
type stay struct {
	Number   int
	Received string
	Shipped  string
	Days     string
	Open     bool
	Customer string
	Outcome  string
	Return   string // how it stood to the visit before
	ComeBack bool
	Entries  []entry
	Parts    []app.PastPart
	Readings []app.PastReading
	Tests    []app.PastTest
	Unsaid   bool // a reading does not say whether before or after
	Waits    []app.PastWait
	Files    []fileView
	Cautions []string
}

// track is what was read at one point over all visits.
type track struct {
	Point, Unit, Limits string
	First, Last         string
	Of                  int
	Numbers             []float64
	Title               string
}

// pairing is another entry that is, or may be, this unit, with the form that
// says which.
type pairing struct {
	Unit unitLine
	Form *form
}

// unit shows one unit's past.
func unit(q *request) error {
	p, err := q.past()
	if err != nil {
		return err
	}
	if q.wantsPart() {
		return q.part("unit", "past", p)
	}
	return q.show("unit", p.Name, p)
}

func (q *request) past() (*past, error) {
	named := q.r.PathValue("unit")
	alive, err := q.alive(named)
	if err != nil {
		return nil, err
	}
	w, err := q.shop.Whole(named)
	if err != nil {
		return nil, err
	}
	p := pastOf(w)
	p.Alive = alive
	return p, nil
}

func pastOf(w app.Whole) *past {
	p := &past{Ref: refOf(w.Tag, w.Unit), Tag: w.Tag, Name: nameOf(w.Maker, w.Model), Serials: serials(w), Kind: spoken(w.KindOfSet), Made: madeOf(w),
		Rank: w.Rank, Model: modelPage(w.Maker, w.PastUnit.Model), Mended: w.Mended, Unread: w.Unread, Loose: entriesOf(w.Loose), Withdrawn: entriesOf(w.Withdrawn)}
	for i := len(w.Visits) - 1; i >= 0; i-- {
		p.Visits = append(p.Visits, stayOf(w, i))
	}
	sayOnce(p.Visits)
	for _, v := range p.Visits {
		p.Kept += len(v.Files)
	}
	for _, t := range w.Tracks {
		if t.Told() {
			p.Tracks = append(p.Tracks, trackOf(t))
		}
	}
	p.stand(w)
	p.addForms(w)
	for _, l := range w.Parted {
		p.Parted = append(p.Parted, lineOfLikely(l))
	}
	return p
}

func serials(w app.Whole) []string {
	if len(w.Serials) > 0 {
		return w.Serials
	}
	if w.Serial != "" {
		return []string{w.Serial}
	}
	return nil
}

func madeOf(w app.Whole) string {
	switch {
	case w.Year == nil:
		return ""
	case w.YearTo != nil:
		return fmt.Sprintf("%d to %d", *w.Year, *w.YearTo)
	}
	return fmt.Sprint(*w.Year)
}

// stand says where the unit is, and what holds for it there.
func (p *past) stand(w app.Whole) {
	p.Away = w.Here == nil && len(w.Visits) > 0
	if h := w.Here; h != nil {
		p.State = "On a bench since " + dayOf(h.Received)
		if h.Days != nil {
			p.State += ", " + events.Count(*h.Days, "day")
		}
		if h.Bench != "" {
			p.State += ", at " + h.Bench
		}
		p.State += choose(h.Waiting == nil, "; waits for nothing", "")
		if h.Waiting != nil {
			p.State += "; waits for " + *h.Waiting
			if h.WaitDays != nil {
				p.State += ", " + events.Count(*h.WaitDays, "day")
			}
		}
		if h.Usual != nil {
			p.Long = usualWords(*h.Usual)
		}
		return
	}
	if b := w.Now; b != nil {
		p.State = "Not in the shop; " + leftWords(b)
		p.Warranty = warrantyWords(b, "still runs, until ", "ran out on ")
	}
}

func leftWords(b *app.Before) string {
	if b.Shipped == "" || b.DaysSince == nil {
		return "it left on a day nobody wrote down"
	}
	return fmt.Sprintf("it left on %s, %s ago", b.Shipped, span(*b.DaysSince))
}

func warrantyWords(b *app.Before, runs, out string) string {
	switch {
	case b.WarrantyTill == "":
		return "no warranty was written down"
	case b.InWarranty:
		return "the warranty " + runs + b.WarrantyTill
	}
	return "the warranty " + out + b.WarrantyTill
}

func stayOf(w app.Whole, i int) stay {
	v := w.Visits[i]
	s := stay{Number: i + 1, Received: dayOf(v.Received), Customer: v.Customer,
		Parts: v.Parts, Readings: v.Readings, Tests: v.Tests, Waits: v.Waits}
	for _, a := range v.Attachments {
		s.Files = append(s.Files, viewOf(a))
	}
	switch {
	case v.Shipped == nil:
		s.Open = true
	case *v.Shipped == "unknown":
		s.Shipped = "left on a day nobody wrote down"
	default:
		s.Shipped = "shipped " + dayOf(*v.Shipped)
	}
	if v.Days != nil {
		s.Days = "after " + events.Count(*v.Days, "day")
	}
	if !s.Open {
		s.Outcome = outcomeWords(v.Outcome)
	}
	if b := w.Returns[i]; b != nil {
		s.Return, s.ComeBack = returnWords(b), b.ComeBack || b.InWarranty
	}
	for _, l := range v.Lines {
		if l.Kind == events.KindFinalTest.String() && len(s.Cautions) == 0 {
			s.Cautions = append(s.Cautions, app.TestCaution)
		}
		if l.Kind != events.KindReadingTaken.String() { // they stand side by side, before and after
			s.Entries = append(s.Entries, entryOf(l))
		}
	}
	safety := false
	for _, r := range v.Readings {
		s.Unsaid, safety = s.Unsaid || r.Read != "", safety || r.Caution != ""
	}
	if safety {
		s.Cautions = append(s.Cautions, readingsCaution)
	}
	if s.Open {
		s.Cautions = append([]string{app.OpeningCaution}, s.Cautions...)
	}
	return s
}

// readingsCaution stands beside readings of leakage.
const readingsCaution = "These are readings. They do not declare the set safe."

// sayOnce leaves each caution at the first visit that has it, which is the latest:
// said at each of ten visits it is read at none.
func sayOnce(visits []stay) {
	said := map[string]bool{}
	for i := range visits {
		visits[i].Cautions = slices.DeleteFunc(visits[i].Cautions, func(c string) bool {
			before := said[c]
			said[c] = true
			return before
		})
	}
}

func outcomeWords(id string) string {
	if id == "unknown" || id == "" {
		return "outcome not written down"
	}
	return spoken(id)
}

// returnWords say plainly how a visit stands to the one before.
func returnWords(b *app.Before) string {
	if b.Shipped == "" || b.DaysSince == nil {
		return "It was here before, and left on a day nobody wrote down."
	}
	s := fmt.Sprintf("It came back %s after it was shipped", span(*b.DaysSince))
	if b.ComeBack {
		s = fmt.Sprintf("A come-back: %s after it was shipped", events.Count(*b.DaysSince, "day"))
	}
	return s + "; " + warrantyWords(b, "still ran, until ", "had run out on ") + "."
}

func trackOf(t app.Track) track {
	first, last := t.Values[0], t.Values[len(t.Values)-1]
	words := func(v app.TrackValue) string {
		s := v.Text
		if v.Stage != "" {
			s += ", " + v.Stage
		}
		return fmt.Sprintf("%s in visit %d", s, v.Visit)
	}
	return track{Point: t.Point, Unit: t.Unit, Limits: t.Limits, First: words(first), Last: words(last), Of: len(t.Values), Numbers: t.Numbers(),
		Title: strings.TrimSpace(t.Point + " over all visits, in " + t.Unit)}
}

func entriesOf(lines []app.PastLine) (list []entry) {
	for _, l := range lines {
		list = append(list, entryOf(l))
	}
	return list
}

func entryOf(l app.PastLine) entry {
	family, _, _ := strings.Cut(l.Kind, ".")
	return entry{ID: l.Event, At: l.At, By: l.By, Kind: family, Line: l.Line, Corrected: l.Corrected}
}
