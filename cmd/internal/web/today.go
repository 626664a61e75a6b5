package web

import (
	"fmt"
	"math"
	"strconv"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// bench is what stands on the benches.
type bench struct {
	AsOf    string
	Units   []standing
	All     int // on the benches, with those that are not shown
	Parts   []partLink
	Waiting int        // of those shown
	Long    int        // of those shown, longer here than nine of ten
	Settle  []unitLine // of which benches said different things

	MoreToSettle int // of which that is not shown here
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
	from := 0
	if typed := q.asked("from"); typed != "" {
		var err error
		if from, err = strconv.Atoi(typed); err != nil || from < 0 {
			return &app.Wrong{What: "from", Why: "is the number of a unit in the list"}
		}
	}
	return q.live("today", "Today", partAddress(from), func() (any, error) { return q.benches(from) })
}

// benches are the units on the benches from the nth on.
func (q *request) benches(from int) (b bench, err error) {
	t, err := q.shop.TodayPart(from, standingShown)
	if err != nil {
		return b, err
	}
	b = bench{AsOf: t.AsOf, All: t.All, Parts: partsOf(t.All, from)}
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
		return b, err
	}
	b.MoreToSettle = max(0, len(disputed)-settleShown)
	for _, d := range disputed[:min(len(disputed), settleShown)] {
		b.Settle = append(b.Settle, unitLine{Ref: refOf(d.Tag, d.Unit), Tag: d.Tag, Name: nameOf(d.Name, "")})
	}
	return b, nil
}

// standingShown is how many units are shown at once, those that stand longest
// first: a shop with more of them than that goes through them in parts.
const standingShown = 60

// settleShown is how many units with something to settle are named: the page of
// the benches has them all.
const settleShown = 12

// partLink leads to a part of the list.
type partLink struct {
	Words, At string
	Here      bool
}

func partAddress(from int) string {
	if from == 0 {
		return "/"
	}
	return fmt.Sprint("/?from=", from)
}

// partsOf are the parts of a list; none where it is whole. Of very many the first
// and those around the one that is shown.
func partsOf(all, from int) (list []partLink) {
	if all <= standingShown && from == 0 {
		return nil
	}
	for n := 0; n < all; n += standingShown {
		if n > 0 && (n < from-3*standingShown || n > from+3*standingShown) {
			continue
		}
		list = append(list, partLink{fmt.Sprintf("%d to %d", n+1, min(n+standingShown, all)), partAddress(n), n == from})
	}
	return list
}

func standingOf(u app.TodaysUnit) standing {
	s := standing{Since: dayOf(u.Received), Bench: u.Bench, Complaint: u.Complaint, Last: u.Last,
		Unit: unitLine{Ref: refOf(u.Tag, u.Unit), Tag: u.Tag, Name: nameOf(u.Maker, u.Model), Serial: u.Serial}}
	if u.Days != nil {
		s.Days = choose(*u.Days < 730, events.Count(*u.Days, "day"), span(*u.Days))
	}
	if u.Waiting != nil {
		s.Wait = *u.Waiting
		if u.WaitDays != nil {
			s.WaitDays = events.Count(*u.WaitDays, "day")
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
