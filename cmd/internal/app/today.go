package app

import (
	"math"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Today is what stands on the benches.
type Today struct {
	AsOf  string       `json:"as_of"`
	Units []TodaysUnit `json:"units"`
	All   int          `json:"-"` // units on the benches, with those that are not among Units
}

// TodaysUnit is one unit that is in the shop.
type TodaysUnit struct {
	Unit      string  `json:"unit"`
	Tag       string  `json:"tag"`
	Maker     string  `json:"maker"`
	Model     string  `json:"model"`
	Serial    string  `json:"serial"`
	Received  string  `json:"received"`
	Days      *int    `json:"days"` // null where the day it came in is not known
	Waiting   *string `json:"waiting_for"`
	WaitDays  *int    `json:"waiting_days,omitempty"`
	Complaint string  `json:"complaint,omitempty"`
	Last      string  `json:"last"`            // the last thing that was recorded of it
	Bench     string  `json:"bench,omitempty"` // on which that was
	Usual     *Usual  `json:"usual,omitempty"` // how that compares; null where nothing is known to compare with
}

// Usual is how the days a unit stands here compare with what its kind took.
type Usual struct {
	Group  string   `json:"group"` // whose visits: of its model, or "all" where those are too few
	Visits int      `json:"visits"`
	Longer float64  `json:"longer_than"` // share of visits that had ended by this day
	Median *float64 `json:"median"`
	P90    *float64 `json:"p90"`
}

// fewestToCompare is of how many visits a model's own turnaround is taken for
// what is usual; those of all models are taken below it. Our choice, no source.
const fewestToCompare = 10

// Today lists the units that stand on a bench, longest first.
func (s *Shop) Today() (Today, error) { return s.TodayPart(0, math.MaxInt) }

// TodayPart is Today of some of the units only, from the nth on: what it costs
// goes by how many are asked for.
func (s *Shop) TodayPart(from, most int) (Today, error) {
	day := s.today()
	t := Today{AsOf: day.String(), Units: []TodaysUnit{}}
	r, err := s.Roster()
	if err != nil {
		return t, err
	}
	usual, err := s.usual()
	if err != nil {
		return t, err
	}
	names := benchNames(r)
	err = s.view(func(v *eventlog.View) error {
		open, err := projections.OpenUnits(v)
		if err != nil {
			return err
		}
		t.All = len(open)
		open = open[min(max(from, 0), len(open)):]
		for _, root := range open[:min(most, len(open))] {
			h, err := load(v, root)
			if err != nil {
				return err
			}
			u := todaysUnit(h, day)
			u.Usual = usual.of(h, u.Days)
			bench, err := lastBench(v, h)
			if err != nil {
				return err
			}
			u.Bench = names(bench)
			t.Units = append(t.Units, u)
		}
		return nil
	})
	return t, err
}

// lastBench is where the last thing of a visit that is open was recorded.
func lastBench(v *eventlog.View, h *projections.History) (bench events.BenchID, err error) {
	last := lastOf(h)
	for _, m := range slices.Backward(h.Members) {
		e, ok, err := v.Event(m, last)
		if err != nil || ok {
			return e.Feed.Bench, err
		}
	}
	return bench, nil
}

func lastBenchOf(byID map[events.EventID]events.Event, h *projections.History) events.BenchID {
	return byID[lastOf(h)].Feed.Bench
}

// lastOf is the last thing of a visit that is open.
func lastOf(h *projections.History) events.EventID {
	entries := h.OpenVisit().Entries
	last := entries[0].Shown
	for _, e := range entries {
		if e.Shown.Compare(last) > 0 {
			last = e.Shown
		}
	}
	return last
}

// turnarounds are how long visits took, by the key of maker and model; "" is all
// of them.
type turnarounds map[string]projections.TurnaroundRow

func (s *Shop) usual() (turnarounds, error) {
	by := turnarounds{}
	for _, grouping := range []string{"all", "model"} {
		res, err := s.Ask(Asking{Question: "turnaround", By: grouping})
		if err != nil {
			return nil, err
		}
		for _, row := range res.Rows {
			if r, ok := row.(projections.TurnaroundRow); ok && grouping == "all" {
				by[""] = r
			} else if ok && r.Group != "" {
				by[events.Key(r.Group)] = r
			}
		}
	}
	return by, nil
}

// of compares a unit's days with the visits of its model, or with all where
// those are few.
func (t turnarounds) of(h *projections.History, days *int) *Usual {
	if days == nil {
		return nil
	}
	row, ok := t[events.Key(nameOf(h.Maker, h.Model))]
	if !ok || h.Model == "" || row.Closed < fewestToCompare {
		if row = t[""]; row.Closed < fewestToCompare {
			return nil
		}
	}
	u := &Usual{Group: row.Group, Visits: row.Visits, Median: row.Median, P90: row.P90}
	for _, step := range row.Steps {
		if step.X() <= float64(*days) {
			u.Longer = 1 - step.Y()
		}
	}
	return u
}

func todaysUnit(h *projections.History, day events.Day) TodaysUnit {
	v := h.OpenVisit()
	u := TodaysUnit{Unit: h.Root.String(), Tag: firstTag(h), Maker: h.Maker, Model: h.Model, Serial: h.Serial, Received: v.Received.String()}
	if v.Received.Precision != events.Unknown {
		n := daysBetween(v.Received.Day, day)
		u.Days = &n
	}
	p := pastVisit(v)
	u.Complaint = p.Complaint
	if len(p.Lines) > 0 {
		u.Last = p.Lines[len(p.Lines)-1].Line
	}
	if wait := WaitOf(v); wait != "" {
		u.Waiting = &wait
		u.WaitDays = waitDays(v, wait, day)
	}
	return u
}

// waitDays is how long the unit has waited for what it waits for.
func waitDays(v *projections.Visit, wait string, day events.Day) *int {
	for _, e := range slices.Backward(v.Entries) {
		if b, ok := e.Decode().(events.WaitingBegun); ok && b.For == wait && e.At.Precision != events.Unknown {
			n := daysBetween(e.At.Day, day)
			return &n
		}
	}
	return nil
}
