package projections

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
	"strings"

	"oldhand/events"
)

// Asked is what a question is asked about.
type Asked struct {
	AsOf     events.Day
	From, To *events.Day // visits received in these days only; nil for all
	Maker    string      // units of this maker only, however it is spelled
	Model    string
	By       string   // how to group, for questions that can
	Groups   []string // these groups only, for turnaround, which tells whether they differ; nil for all
	Days     int      // for questions with a number of days
	Year     int      // for the question about a year; zero is that of AsOf
	Unit     events.UnitID

	// WorkDays counts the working days from a day up to and without another,
	// for questions that can tell days so; nil counts calendar days.
	WorkDays func(from, to events.Day) int
}

// Question is one fleet question: what each unit's history contributes to it,
// and how the answer is drawn from how often each row was contributed.
type Question struct {
	ID     byte   // in keys; never changes, never given again
	Name   string // on the command line and the page
	Title  string
	By     []string      // ways of grouping, the first where none is asked for; nil where there is one only
	Takes  []string      // what it can be asked with, besides days, a maker, a model and a grouping
	reads  []events.Kind // what its rows hang on, besides what begins and ends visits and names a set
	rows   func(*History, *rowList)
	head   headFunc                        // where its rows stand in blocks; nil where each has a key
	rowsBy func(*History, Asked, *rowList) // rows that hang on how days are counted; nil where none do
	answer func(Tally, Asked) (*Result, error)
}

// Tally is how often each row of one question is contributed by all units.
type Tally interface {
	// Each calls fn with the rows whose bytes begin with a prefix, in order,
	// until fn gives false. The row is good until fn returns.
	Each(prefix []byte, fn func(row []byte, count int) (bool, error)) error
	// Reader reads the histories that the rows came from.
	Reader() Reader
}

// keptTally is a tally as the engine keeps it: of everything, as of now.
type keptTally struct {
	r    Reader
	id   byte
	head headFunc
}

// kept is a question's tally.
func (q Question) kept(r Reader) keptTally { return keptTally{r, q.ID, q.head} }

func (t keptTally) Reader() Reader { return t.r }

func (t keptTally) Each(prefix []byte, fn func(row []byte, count int) (bool, error)) error {
	lo := append([]byte{'t', t.id}, prefix...)
	var room []byte
	return t.r.Scan(lo, after(lo), func(k, v []byte) (more bool, err error) {
		if t.head != nil {
			room, more, err = eachCount(room, k[2:], v, fn)
			return more, err
		}
		n, size := binary.Uvarint(v)
		if size <= 0 || n == 0 {
			return false, errView
		}
		return fn(k[2:], int(n))
	})
}

// madeTally is a tally made for one asking, from histories as they were on a
// day or of some units only. It costs as much as there are of those.
type madeTally struct {
	r    Reader
	keys []string
	rows map[string]int
}

func (t *madeTally) Reader() Reader { return t.r }

func (t *madeTally) Each(prefix []byte, fn func(row []byte, count int) (bool, error)) error {
	i, _ := slices.BinarySearch(t.keys, string(prefix))
	for ; i < len(t.keys) && bytes.HasPrefix([]byte(t.keys[i]), prefix); i++ {
		if more, err := fn([]byte(t.keys[i]), t.rows[t.keys[i]]); err != nil || !more {
			return err
		}
	}
	return nil
}

// makeTally takes the rows of what was asked of the histories that readers give.
func makeTally(r Reader, q Question, a Asked, readers []eachStored) (*madeTally, error) {
	rows := q.rows
	if q.rowsBy != nil {
		rows = func(h *History, to *rowList) { q.rowsBy(h, a, to) }
	}
	counts, err := countRows(readers, func(h *History, to *rowList) {
		if h := h.asked(a); h != nil {
			rows(h, to)
		}
	})
	if err != nil {
		return nil, err
	}
	return &madeTally{r, slices.Sorted(maps.Keys(counts)), counts}, nil
}

// Ask answers a question. As of today and about all units the answer comes
// from tallies that are kept. About some units or visits only, the histories of
// those are gone through; about a day in the past, all are.
func Ask(r Reader, q Question, a Asked) (*Result, error) {
	if a.By != "" && len(q.By) > 0 && !slices.Contains(q.By, a.By) {
		return nil, &NoGrouping{a.By, q.By}
	}
	t, err := tallyFor(r, q, a)
	if err != nil {
		return nil, err
	}
	res, err := q.answer(t, a)
	if err != nil {
		return nil, err
	}
	res.Question, res.AsOf = q.Name, a.AsOf.String()
	res.fill()
	return res, nil
}

// NoGrouping is returned when a way of grouping was named that a question does
// not have.
type NoGrouping struct {
	Name string
	Have []string
}

func (e *NoGrouping) Error() string {
	return fmt.Sprintf("grouping by %q: there are %s", e.Name, strings.Join(e.Have, ", "))
}

func tallyFor(r Reader, q Question, a Asked) (Tally, error) {
	s, err := spanOf(r)
	if err != nil {
		return nil, err
	}
	past := s.any && s.last > a.AsOf
	days := a.From != nil || a.To != nil
	if !past && !days && a.Maker == "" && a.Model == "" && (a.WorkDays == nil || q.rowsBy == nil) {
		return q.kept(r), nil
	}
	histories := r
	if !past && !days {
		histories = rowsOnly(r, q)
	}
	readers, err := concernedReaders(r, histories, a)
	if err != nil {
		return nil, err
	}
	return makeTally(r, q, a, readers)
}

// asked is the history as far as a question is about it, nil if not at all.
func (h *History) asked(a Asked) *History {
	if a.Maker != "" && events.Key(h.Maker) != events.Key(a.Maker) || a.Model != "" && events.Key(h.Model) != events.Key(a.Model) {
		return nil
	}
	if h.lastDay() > a.AsOf {
		h = h.until(a.AsOf)
	}
	if a.From != nil || a.To != nil {
		h = h.between(a.From, a.To)
	}
	if len(h.Visits) == 0 {
		return nil
	}
	return h
}

// lastDay is the day of the last fact that is dated.
func (h *History) lastDay() (last events.Day) {
	last = -dayZero
	look := func(entries []Entry) {
		for _, e := range entries {
			if e.At.Precision != events.Unknown {
				last = max(last, e.At.Day)
			}
		}
	}
	look(h.Loose)
	for _, v := range h.Visits {
		look(v.Entries)
	}
	return last
}

// until is the history as it would have been told at the end of a day: what
// happened later is not in it, whenever it was written down.
func (h *History) until(day events.Day) *History {
	var facts []Entry
	keep := func(e Entry) {
		if e.At.Precision == events.Unknown || e.At.Day <= day {
			facts = append(facts, e)
		}
	}
	for _, e := range h.Loose {
		keep(e)
	}
	for _, v := range h.Visits {
		for _, e := range v.Entries {
			keep(e)
		}
	}
	return fold(h.Members, facts)
}

// between is the history with only those visits that began in some days.
func (h *History) between(from, to *events.Day) *History {
	c := *h
	c.Visits = nil
	for _, v := range h.Visits {
		d := v.day()
		if (from == nil || d >= *from) && (to == nil || d <= *to) {
			c.Visits = append(c.Visits, v)
		}
	}
	return &c
}

// day is the day a visit began on; where that is not known, the day it was
// recorded on.
func (v Visit) day() events.Day { return placeOf(events.EventID(v.ID), v.Received).day }

// span is from when to when the shop has facts.
type span struct {
	any         bool
	first, last events.Day // first day a unit came in, last day of any fact
}

// spanRows are what a history says of the shop's span: its first and last day,
// the last ones first.
func spanRows(h *History, to *rowList) {
	if len(h.Visits) == 0 {
		return
	}
	to.add(to.key('f').num(int(h.Visits[0].day())))
	to.add(to.key('l').num(-int(h.lastDay())))
}

// spanQuestion keeps the span's rows beside those of the questions.
const spanQuestion = 255

func spanOf(r Reader) (s span, err error) {
	return spanIn(keptTally{r: r, id: spanQuestion})
}

func spanIn(t Tally) (s span, err error) {
	first := func(kind byte, into *events.Day, sign events.Day) error {
		return t.Each([]byte{kind}, func(row []byte, _ int) (bool, error) {
			rr := rowReader{b: row[1:]}
			*into, s.any = sign*events.Day(rr.num()), true
			return false, rr.err()
		})
	}
	if err = first('f', &s.first, 1); err == nil {
		err = first('l', &s.last, -1)
	}
	return s, err
}

// spanAsked is the span of what is asked about.
func spanAsked(r Reader, a Asked) (span, error) {
	if a.From == nil && a.To == nil {
		return spanOf(r)
	}
	s, err := spanOf(r)
	if a.From != nil {
		s.first = max(s.first, *a.From)
	}
	if a.To != nil {
		s.last = min(s.last, *a.To)
	}
	return s, err
}

// years is how long the shop was open to what is asked, in years of 365.25
// days, from the first unit it has on record to the day asked for.
func (s span) years(a Asked) float64 {
	end := a.AsOf
	if a.To != nil {
		end = min(end, *a.To)
	}
	if !s.any || end < s.first {
		return 0
	}
	return float64(end-s.first+1) / 365.25
}

// days is how many days lie between two, as they are asked to be counted.
func (a Asked) days(from, to events.Day) int {
	if a.WorkDays != nil {
		return a.WorkDays(from, max(from, to))
	}
	return max(0, int(to-from))
}
