package app

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Whole is a unit's past with what a person who has it in hand should know
// besides.
type Whole struct {
	PastUnit
	Here    *TodaysUnit // while it stands on a bench
	Rank    string      // such as "the 6th of its model", in words; empty where the model is not known
	Returns []*Before   // of each visit, how it stood to those before; nil for the first
	Now     *Before     // the same as of today, of a unit that left
	Mended  []Mend
	Joined  []Likely // entries that are this unit, where it was entered more than once
	Parted  []Likely // units said not to be this one
	Likely  []Likely // units that may be this one under another spelling
	Tracks  []Track
}

// Mend is a correction, a withdrawal, or the settling of a conflict.
type Mend struct {
	At, By, Bench string
	Said          string
	Was           []string // the lines that it replaced or took back
}

// Track is what was read at one point over all visits, in order.
type Track struct {
	Point  string
	Unit   string // of Values
	Values []TrackValue
	Limits string // the last that were used
}

// TrackValue is one reading.
type TrackValue struct {
	Visit  int // from 1
	At     string
	Stage  string
	Text   string
	Number float64 // NaN where it is no number
}

// Whole tells all of one unit.
func (s *Shop) Whole(typed string) (w Whole, err error) {
	r, err := s.Roster()
	if err != nil {
		return w, err
	}
	var root string
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, typed)
		if err != nil {
			return err
		}
		root = h.Root.String()
		byID, err := unitEvents(v, h)
		if err != nil {
			return err
		}
		if w.PastUnit, err = pastOf(v, h); err != nil {
			return err
		}
		if err := s.addAttachments(&w.PastUnit, v, h); err != nil {
			return err
		}
		if err := s.addTests(&w.PastUnit, v, h); err != nil {
			return err
		}
		w.addVisits(h, s.today())
		w.Mended = mendsOf(byID, benchNames(r))
		w.Tracks = tracksOf(h)
		if h.OpenVisit() != nil {
			usual, err := s.usual()
			if err != nil {
				return err
			}
			u := todaysUnit(h, s.today())
			u.Usual, u.Bench = usual.of(h, u.Days), benchNames(r)(lastBenchOf(byID, h))
			w.Here = &u
		}
		return w.addOthers(v, h)
	})
	if err == nil && w.Model != "" {
		w.Rank, err = s.rank(root)
	}
	return w, err
}

// addVisits says of each visit how it stood to those before.
func (w *Whole) addVisits(h *projections.History, today events.Day) {
	for i, v := range h.Visits {
		var b *Before
		if i > 0 && v.Received.Precision != events.Unknown {
			b = beforeOf(&projections.History{Visits: h.Visits[:i]}, v.Received.Day)
		}
		w.Returns = append(w.Returns, b)
	}
	if h.OpenVisit() == nil && len(h.Visits) > 0 {
		w.Now = beforeOf(h, today)
	}
}

// rank is a unit's place among those of its model, in the words of the answer
// about rarity.
func (s *Shop) rank(unit string) (string, error) {
	res, err := s.Ask(Asking{Question: "rarity", Unit: unit})
	if err != nil || len(res.Notes) == 0 {
		return "", err
	}
	_, rank, _ := strings.Cut(res.Notes[0], ": ")
	return rank, nil
}

// mendsOf are what was put right, in the order it was recorded.
func mendsOf(byID map[events.EventID]events.Event, names func(events.BenchID) string) (list []Mend) {
	var ids []events.EventID
	for id := range byID {
		ids = append(ids, id)
	}
	slices.SortFunc(ids, events.EventID.Compare)
	for _, id := range ids {
		e := byID[id]
		body, err := e.Body()
		if err != nil {
			continue
		}
		var on []events.EventID
		switch b := body.(type) {
		case events.Corrected:
			on = b.Replaces
		case events.Withdrawn:
			on = b.Withdraws
		case events.Settled:
			on = b.Settles
		default:
			continue
		}
		m := Mend{At: e.ID.Stamp().Time().Format("2006-01-02 15:04"), By: e.By, Bench: names(e.Feed.Bench), Said: e.Line()}
		for _, o := range on {
			if was, ok := byID[o]; ok {
				m.Was = append(m.Was, was.Line())
			}
		}
		list = append(list, m)
	}
	return list
}

// addOthers names the units that this one was joined with or parted from, and
// those that may be it.
func (w *Whole) addOthers(v *eventlog.View, h *projections.History) error {
	if len(h.Members) > 1 {
		for _, m := range h.Members {
			w.Joined = append(w.Joined, memberLine(h, m))
		}
	}
	known := append(slices.Clone(h.Members), h.Apart...)
	for _, id := range h.Apart {
		o, err := projections.Load(v, id)
		if err != nil {
			return err
		}
		if o != nil && o.Root != h.Root {
			known = append(known, o.Root)
			w.Parted = append(w.Parted, likelyOf(o, 1, "said not to be the same set"))
		}
	}
	looked := map[string]bool{}
	for _, serial := range h.Serials {
		if looked[events.Key(serial)] {
			continue // another spelling of one that was looked for
		}
		looked[events.Key(serial)] = true
		near, err := nearUnits(v, events.Received{Maker: h.Maker, Model: h.Model, Serial: serial})
		if err != nil {
			return err
		}
		for _, l := range near {
			var id events.UnitID
			if err := id.UnmarshalText([]byte(l.Unit)); err != nil {
				return err
			}
			if !slices.Contains(known, id) {
				known = append(known, id)
				w.Likely = append(w.Likely, l)
			}
		}
	}
	return nil
}

// memberLine is one of the entries that are one unit, by what its own intake
// says.
func memberLine(h *projections.History, member events.UnitID) Likely {
	l := Likely{Unit: member.String(), Maker: h.Maker, Model: h.Model, Likeness: 1}
	for _, v := range h.Visits {
		for _, e := range v.Entries {
			if b, ok := e.Decode().(events.Received); ok && e.About == member {
				l.Tag, l.Serial = orElse(l.Tag, b.Tag), orElse(l.Serial, b.Serial)
			}
		}
	}
	return l
}

// tracksOf are the readings of a unit by point, those that were read first in
// front.
func tracksOf(h *projections.History) (list []Track) {
	at := map[string]int{}
	for n, v := range h.Visits {
		for _, e := range v.Entries {
			b, ok := e.Decode().(events.ReadingTaken)
			if !ok {
				continue
			}
			key := strings.Join([]string{events.Key(b.Point), b.Measure, b.Value.Unit, b.Network, b.Amplitude}, " ")
			i, ok := at[key]
			if !ok {
				i = len(list)
				at[key] = i
				list = append(list, Track{Point: b.Point, Unit: b.Value.Unit})
			}
			number := math.NaN()
			if b.Value.Unit != "" {
				number = valueOf(b.Value).Float()
			}
			list[i].Values = append(list[i].Values, TrackValue{n + 1, e.At.String(), b.Stage, readingText(b), number})
			list[i].Limits = orElse(b.Limits, list[i].Limits)
		}
	}
	for i := range list {
		list[i].scale()
	}
	return list
}

// prefixes are those of the International System of Units (BIPM, SI Brochure, 9th
// edition, table 7) that readings of a bench come in.
var prefixes = []struct {
	sign   string
	factor float64
}{{"M", 1e6}, {"k", 1e3}, {"", 1}, {"m", 1e-3}, {"µ", 1e-6}, {"n", 1e-9}, {"p", 1e-12}}

// scale gives a track's numbers in the prefix in which its last is at least one.
func (t *Track) scale() {
	if !strings.Contains(" V A W F H Hz Ohm s ", " "+t.Unit+" ") {
		return
	}
	last := 0.0
	for _, v := range t.Values {
		if !math.IsNaN(v.Number) && v.Number != 0 {
			last = math.Abs(v.Number)
		}
	}
	for _, p := range prefixes {
		if last >= p.factor*(1-1e-9) {
			for i := range t.Values {
				t.Values[i].Number /= p.factor
			}
			t.Unit = p.sign + t.Unit
			return
		}
	}
}

// Told reports whether readings of more than one visit, or before and after, are
// there to be compared.
func (t Track) Told() bool { return len(t.Values) > 1 }

// Numbers are the values as numbers.
func (t Track) Numbers() []float64 {
	list := make([]float64, len(t.Values))
	for i, v := range t.Values {
		list[i] = v.Number
	}
	return list
}

// String says from what to what a track went.
func (t Track) String() string {
	first, last := t.Values[0], t.Values[len(t.Values)-1]
	return fmt.Sprintf("%s: %s to %s, %s", t.Point, first.Text, last.Text, numbered(len(t.Values), "reading"))
}
