package web

import (
	"fmt"
	"math"

	"oldhand/cmd/internal/app"
)

// bench is what stands on the benches.
type bench struct {
	AsOf    string
	Alive   string
	Units   []standing
	Waiting int
	Long    int        // longer here than nine of ten
	Settle  []unitLine // of which benches said different things
}

// standing is one unit that is in the shop.
type standing struct {
	Unit      unitLine
	Since     string
	Days      string
	Wait      string
	WaitDays  string
	Bench     string
	Complaint string
	Last      string
	Usual     string // how long it stands, against what its kind took
	Long      bool
}

func today(q *request) error {
	alive, err := q.alive("")
	if err != nil {
		return err
	}
	t, err := q.shop.Today()
	if err != nil {
		return err
	}
	b := bench{AsOf: t.AsOf, Alive: alive}
	for _, u := range t.Units {
		s := standingOf(u)
		if s.Wait != "" {
			b.Waiting++
		}
		if s.Long {
			b.Long++
		}
		b.Units = append(b.Units, s)
	}
	disputed, err := q.shop.Conflicts()
	if err != nil {
		return err
	}
	for _, d := range disputed {
		b.Settle = append(b.Settle, unitLine{Ref: refOf(d.Tag, d.Unit), Tag: d.Tag, Name: nameOf(d.Name, "")})
	}
	if q.wantsPart() {
		return q.part("today", "benches", b)
	}
	return q.show("today", "Today", b)
}

func standingOf(u app.TodaysUnit) standing {
	s := standing{Since: dayOf(u.Received), Bench: u.Bench, Complaint: u.Complaint, Last: u.Last,
		Unit: unitLine{Ref: refOf(u.Tag, u.Unit), Tag: u.Tag, Name: nameOf(u.Maker, u.Model), Serial: u.Serial}}
	if u.Days != nil {
		s.Days = fmt.Sprint(*u.Days)
	}
	if u.Waiting != nil {
		s.Wait = *u.Waiting
		if u.WaitDays != nil {
			s.WaitDays = count(*u.WaitDays, "day")
		}
	}
	if u.Usual != nil {
		s.Usual, s.Long = usualWords(*u.Usual), u.Usual.Longer >= longShare
	}
	return s
}

// longShare is the share of earlier visits from which on a stay is called long.
const longShare = 0.9

// usualWords say how a stay compares, in tenths: more would be more than such
// counts bear.
func usualWords(u app.Usual) string {
	whose := choose(u.Group == "all", "of all sets", "of its model")
	tenths := int(math.Floor(u.Longer * 10))
	switch {
	case u.Longer >= 0.99:
		return "longer than nearly every visit " + whose
	case tenths >= 1:
		return fmt.Sprintf("longer than %d of 10 visits %s", tenths, whose)
	}
	return "among the shortest 1 of 10 visits " + whose
}
