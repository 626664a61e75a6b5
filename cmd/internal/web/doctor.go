package web

import (
	"fmt"
	"slices"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// healthPage is how this bench stands, as the page of the check-up shows it.
type healthPage struct {
	Lead  string
	Ill   []findingLine
	Well  []findingLine
	Going goingOn
	Scrub scrubView
	Whole *form
	Error *trouble
}

// findingLine is a finding, with the page where something can be done about it.
type findingLine struct {
	app.Finding
	At, Page string // a path and what the page is called; empty for none
}

// goingOn is what is being read at the moment.
type goingOn struct {
	Says []string // empty for nothing
}

// scrubView is how the weekly check of everything stands.
type scrubView struct {
	Says    []string
	Trouble string
	Start   *form // nil while one goes on
}

// byWhole are what only a check of everything looks at: said of the last one, beside
// what is looked at anew.
var byWhole = []string{"events", "answers", "photos and recordings", "unread"}

func doctor(q *request) error {
	v, err := q.health()
	if err != nil {
		return err
	}
	return q.show("doctor", "Check-up", v)
}

func (q *request) health() (*healthPage, error) {
	quick, err := q.shop.Doctor(app.Looking{Duties: q.s.duties})
	if err != nil {
		return nil, err
	}
	whole := q.s.checking.stands()
	v := &healthPage{}
	if whole.Failed != nil {
		v.Error = troubleOf(whole.Failed)
	}
	if whole.Came != nil {
		for _, f := range whole.Came.Findings {
			if slices.Contains(byWhole, f.About) {
				f.Says += " (as of " + whole.Ended + ")"
				v.add(f)
			}
		}
	}
	for _, f := range quick.Findings {
		v.add(f)
	}
	v.Lead = "All that was looked at is as it should be."
	if n := len(v.Ill); n > 0 {
		v.Lead = events.Count(n, "thing") + " to see to."
	}
	scrubs, err := q.s.scrubs.State()
	if err != nil {
		return nil, err
	}
	v.Scrub = scrubOf(scrubs)
	v.Going = goingOf(whole, scrubs)
	if whole.Running == "" {
		v.Whole = &form{ID: "whole", Action: "/doctor/whole", Submit: "Check everything now", Once: newOnce(), Small: true}
	}
	return v, nil
}

// onBenches are the first words of what something is done about there.
var onBenches = []string{"bench", "benches", "meeting", "exchange", "keys", "entries", "this"}

func (v *healthPage) add(f app.Finding) {
	l := findingLine{Finding: f}
	switch about, _, _ := strings.Cut(f.About, " "); {
	case strings.HasPrefix(f.Do, "chmod"): // no page does that
	case about == "backup":
		l.At, l.Page = "/backups", "Backups"
	case slices.Contains(onBenches, about):
		l.At, l.Page = "/benches", "Benches"
	}
	l.About, l.Says = capital(f.About), capital(f.Says)
	if f.OK {
		v.Well = append(v.Well, l)
		return
	}
	v.Ill = append(v.Ill, l)
}

func scrubOf(st app.ScrubState) (v scrubView) {
	if l := st.Last; l != nil {
		v.Says = append(v.Says, fmt.Sprintf("The last one ended at %s: %s, %s.", l.At(), l, choose(len(l.Found) == 0, "all of it whole", events.Count(len(l.Found), "trouble")+" found, said above")))
	} else {
		v.Says = append(v.Says, "None was made so far.")
	}
	switch {
	case st.Walks:
	case st.Begun != "":
		v.Says = append(v.Says, fmt.Sprintf("One that was begun at %s came as far as %d of %d events, and goes on by itself.", st.Begun, st.Events, max(st.Of, st.Events)))
		v.Start = &form{ID: "scrub", Action: "/doctor/scrub", Submit: "Go on now", Once: newOnce(), Small: true}
	default:
		v.Start = &form{ID: "scrub", Action: "/doctor/scrub", Submit: "Begin one now", Once: newOnce(), Small: true}
	}
	if st.Trouble != "" {
		v.Trouble = "It does not go on, and is tried again: " + st.Trouble
	}
	return v
}

func goingOf(whole errandState[app.Checkup], st app.ScrubState) (g goingOn) {
	if whole.Running != "" {
		g.Says = append(g.Says, fmt.Sprintf("Everything is being read: %d of %d events so far, then the answers and the photos.", whole.Done, max(st.Of, uint64(whole.Done))))
	}
	if st.Walks {
		g.Says = append(g.Says, fmt.Sprintf("The weekly check goes on, slowly and beside the work: %d of %d events, %s.", st.Events, max(st.Of, st.Events), events.Count(st.Pieces, "photo or recording", "photos and recordings")))
	}
	return g
}

// doctorGoing draws how far what goes on is. When it is through, the page is drawn
// anew.
func doctorGoing(q *request) error {
	scrubs, err := q.s.scrubs.State()
	if err != nil {
		return err
	}
	g := goingOf(q.s.checking.stands(), scrubs)
	if len(g.Says) == 0 || !q.wantsPart() {
		return q.goTo("/doctor")
	}
	return q.part("doctor", "going", g)
}

// doctorWhole begins a check of everything, at full speed.
func doctorWhole(q *request) error {
	shop, duties := q.shop.Lend(), q.s.duties
	return q.healthDeed(func(v *healthPage) *form { return v.Whole }, func() error {
		return q.s.checking.begin("everything is read", q.shop.Moment, func(told func(done, of int64)) (app.Checkup, error) {
			return shop.Doctor(app.Looking{Whole: true, Duties: duties, Told: func(n uint64) { told(int64(n), 0) }})
		})
	})
}

// doctorScrub has the weekly check begin before its time, or go on at once.
func doctorScrub(q *request) error {
	return q.healthDeed(func(v *healthPage) *form { return v.Scrub.Start }, q.s.scrubs.Start)
}

func (q *request) healthDeed(which func(*healthPage) *form, do func() error) error {
	v, err := q.health()
	if err != nil {
		return err
	}
	f := which(v)
	if f == nil {
		return q.goTo("/doctor", notice{Words: "That goes on already.", Warn: true})
	}
	return q.post(f, func() (string, []notice, error) { return "/doctor", nil, do() }, func() error { return q.show("doctor", "Check-up", v) })
}
