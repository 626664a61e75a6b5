package web

import (
	"fmt"
	"strconv"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// afterwards is the page on which what a retired bench recorded is let count: what
// there is of it first.
type afterwards struct {
	Bench benchRow
	UpTo  string
	What  app.Released
	Runs  table
	Form  *form // nil where there is nothing to let count
}

func release(q *request) error {
	v, err := q.afterwards(q.r.PathValue("bench"), q.asked("upto"))
	if err != nil {
		return err
	}
	return q.show("release", "What bench "+v.Bench.Name+" recorded", v)
}

func (q *request) afterwards(number, upTo string) (*afterwards, error) {
	g, err := q.gathering()
	if err != nil {
		return nil, err
	}
	n, err := strconv.ParseUint(number, 10, 32)
	for _, r := range g.Rows {
		if err != nil || r.Number != uint32(n) || !r.MayRelease {
			continue
		}
		v := &afterwards{Bench: r, UpTo: upTo, Runs: table{Caption: "What would count", Head: []string{"run of its log", "events", "recorded from", "to"}, Numbers: map[int]bool{1: true}}}
		if v.What, err = q.shop.Release(app.Release{Bench: r.Name, UpTo: upTo}); err != nil {
			return nil, err
		}
		for _, run := range v.What.Runs {
			v.Runs.Rows = append(v.Runs.Rows, []cell{{Text: run.Run}, {Text: fmt.Sprint(run.Events)}, {Text: run.First}, {Text: run.Last}})
		}
		for i, left := range v.What.Left {
			v.What.Left[i] = capital(left)
		}
		if v.What.Events > 0 {
			v.Form = &form{ID: "release", Action: "/benches/release", Submit: "Let " + events.Count(v.What.Events, "event") + " count", Once: newOnce(),
				Hidden: map[string]string{"bench": number, "upto": upTo}, Fields: []*field{{Name: "why", Label: "Why", Hint: "for the others to read"}}}
		}
		return v, nil
	}
	return nil, &app.NotHere{Unit: "bench " + number, Why: "is no retired bench, or the owner's key is not in this folder"}
}

func releaseBench(q *request) error {
	v, err := q.afterwards(q.r.PostFormValue("bench"), q.r.PostFormValue("upto"))
	if err != nil {
		return err
	}
	if v.Form == nil {
		return q.goTo("/benches", notice{Words: "There is nothing of it left to let count.", Warn: true})
	}
	return q.post(v.Form, func() (string, []notice, error) {
		res, err := q.shop.Release(app.Release{Bench: v.Bench.Name, UpTo: v.UpTo, Why: v.Form.value("why"), Do: true})
		if err != nil {
			return "", nil, err
		}
		return "/benches", []notice{{Words: fmt.Sprintf("%s of bench %s count. It stays retired.", capital(events.Count(res.Events, "event")), res.Bench)}}, nil
	}, func() error { return q.show("release", "What bench "+v.Bench.Name+" recorded", v) })
}
