package web

import (
	"fmt"

	"oldhand/cmd/internal/app"
)

// past is a unit's past as its page shows it.
type past struct {
	Ref, Tag, Name string
	Alive          string
	Visits         []stay
}

// stay is one visit.
type stay struct {
	Title   string
	Entries []entry
}

func unit(q *request) error {
	named := q.r.PathValue("unit")
	alive, err := q.alive(named)
	if err != nil {
		return err
	}
	u, err := q.shop.PastOf(named)
	if err != nil {
		return err
	}
	p := pastOf(u)
	p.Alive = alive
	if q.wantsPart() {
		return q.part("unit", "past", p)
	}
	return q.show("unit", p.Name, p)
}

func pastOf(u app.PastUnit) past {
	p := past{Ref: refOf(u.Tag, u.Unit), Tag: u.Tag, Name: nameOf(u.Maker, u.Model)}
	for i, v := range u.Visits {
		s := stay{Title: fmt.Sprintf("Visit %d, received %s", i+1, dayOf(v.Received))}
		for _, l := range v.Lines {
			s.Entries = append(s.Entries, entryOf(l))
		}
		p.Visits = append(p.Visits, s)
	}
	return p
}

func entryOf(l app.PastLine) entry {
	return entry{ID: l.Event, At: l.At, By: l.By, Kind: l.Kind, Line: l.Line, Corrected: l.Corrected}
}
