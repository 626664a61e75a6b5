package app

import (
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Today is what stands on the benches.
type Today struct {
	AsOf  string       `json:"as_of"`
	Units []TodaysUnit `json:"units"`
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
	Last      string  `json:"last"` // the last thing that was recorded of it
}

// Today lists the units that stand on a bench, longest first.
func (s *Shop) Today() (Today, error) {
	day := s.today()
	t := Today{AsOf: day.String(), Units: []TodaysUnit{}}
	err := s.view(func(v *eventlog.View) error {
		return projections.EachOpen(v, func(h *projections.History) (bool, error) {
			t.Units = append(t.Units, todaysUnit(h, day))
			return true, nil
		})
	})
	return t, err
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
