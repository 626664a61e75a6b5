package app

import (
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// AtBench is a unit as it stands on the bench: its last visit, and what was seen
// of it.
type AtBench struct {
	Unit, Tag, Maker, Model, Serial string
	Year                            string
	Open                            bool // it stands here; else the visit is closed, or there was none
	Received, Shipped, Outcome      string
	Complaint, Condition            string
	Waiting                         string
	Estimate                        int64 // the last one given in this visit, in minor units
	EstimateIn                      string
	Entries                         []BenchLine // of the last visit
	All                             []BenchLine // of every visit, and of none
	Withdrawn                       []BenchLine
	Seen                            string // stands for all of that; see Meanwhile

	Read   []events.ReadingTaken // in this visit
	Worked bool                  // a part was replaced or work was done in it
}

// BenchLine is one entry at the bench.
type BenchLine struct {
	PastLine
	Caution string
}

// AtBench is the unit that was named.
func (s *Shop) AtBench(typed string) (u AtBench, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, typed)
		if err == nil {
			u = atBench(h)
		}
		return err
	})
	return u, err
}

func atBench(h *projections.History) AtBench {
	u := AtBench{Unit: h.Root.String(), Tag: firstTag(h), Maker: h.Maker, Model: h.Model, Serial: h.Serial, Year: events.YearsText(h.YearFrom, h.YearTo),
		Seen: strings.Join(seenIDs(h), " ")}
	for _, e := range entriesOf(h) {
		u.All = append(u.All, benchLines(e)...)
	}
	for _, e := range h.Withdrawn {
		u.Withdrawn = append(u.Withdrawn, benchLines(e)...)
	}
	if len(h.Visits) == 0 {
		return u
	}
	v := &h.Visits[len(h.Visits)-1]
	u.Open, u.Received, u.Waiting = v.End == projections.Open, v.Received.String(), WaitOf(v)
	if v.End == projections.Ended {
		u.Shipped = v.Shipped.String()
	}
	p := pastVisit(v)
	u.Complaint, u.Condition, u.Outcome = p.Complaint, p.Condition, p.Outcome
	for _, e := range v.Entries {
		u.add(e)
	}
	return u
}

func (u *AtBench) add(e projections.Entry) {
	switch b := e.Decode().(type) {
	case events.ReadingTaken:
		u.Read = append(u.Read, b)
	case events.PartReplaced, events.WorkDone:
		u.Worked = true
	case events.EstimateGiven:
		u.Estimate, u.EstimateIn = b.Amount, b.Currency
	}
	u.Entries = append(u.Entries, benchLines(e)...)
}

// benchLines is an entry, or nothing where it is none that is shown.
func benchLines(e projections.Entry) (list []BenchLine) {
	for _, l := range lines([]projections.Entry{e}) {
		list = append(list, BenchLine{l, CautionOf(e.Decode())})
	}
	return list
}

// seenTail is how much of an id stands for it: 45 bits at random.
const seenTail = 9

func seenID(id events.EventID) string { s := id.String(); return s[len(s)-seenTail:] }

// seenIDs stand for everything of a unit that a bench page shows.
func seenIDs(h *projections.History) (ids []string) {
	for _, e := range nowOf(h) {
		ids = append(ids, seenID(e.Shown))
	}
	for _, e := range h.Withdrawn {
		ids = append(ids, "-"+seenID(e.Shown))
	}
	return ids
}

// nowOf are the entries of the last visit, of none, and of joins.
func nowOf(h *projections.History) []projections.Entry {
	all := slices.Concat(h.Loose, h.Joins)
	if n := len(h.Visits); n > 0 {
		all = append(all, h.Visits[n-1].Entries...)
	}
	return slices.DeleteFunc(all, func(e projections.Entry) bool { return e.Kind == events.KindRowImported })
}

// Meanwhile says what was written of a unit since somebody saw it.
func (s *Shop) Meanwhile(typed, seen string) (said []string, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, typed)
		if err == nil {
			said = meanwhile(h, strings.Fields(seen))
		}
		return err
	})
	return said, err
}

func meanwhile(h *projections.History, seen []string) (said []string) {
	for _, e := range nowOf(h) {
		switch id := seenID(e.Shown); {
		case slices.Contains(seen, id):
		case slices.Contains(seen, "-"+id):
			said = append(said, "brought back: "+e.Line())
		case e.Shown != e.ID:
			said = append(said, "corrected: "+e.Line()+bySomebody(e.By))
		default:
			said = append(said, e.Line()+bySomebody(e.By))
		}
	}
	for _, e := range h.Withdrawn {
		if id := seenID(e.Shown); !slices.Contains(seen, "-"+id) {
			said = append(said, "taken back: "+e.Line())
		}
	}
	return said
}

func bySomebody(by string) string {
	if by == "" {
		return ""
	}
	return " (" + by + ")"
}
