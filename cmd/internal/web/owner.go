package web

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// farewell is the page before a bench is retired: what that does, and what it can't
// undo.
type farewell struct {
	Bench        benchRow
	Events, Last string
	Form         *form
}

func retire(q *request) error {
	f, err := q.farewell(q.r.PathValue("bench"))
	if err != nil {
		return err
	}
	return q.show("retire", "Retire bench "+f.Bench.Name, f)
}

func (q *request) farewell(number string) (*farewell, error) {
	g, err := q.gathering()
	if err != nil {
		return nil, err
	}
	n, err := strconv.ParseUint(number, 10, 32)
	if err != nil {
		return nil, &app.NotHere{Unit: "bench " + number, Why: "is none of this shop's"}
	}
	for _, r := range g.Rows {
		switch {
		case r.Number != uint32(n):
		case !g.Owner:
			return nil, &app.NotHere{Unit: "the owner's key", Why: "is not in this folder; retire a bench from the one that has it"}
		case !r.MayRetire:
			return nil, &app.NotHere{Unit: "bench " + r.Name, Why: "can't be retired here: it is this bench, or is retired already"}
		default:
			return &farewell{Bench: r, Events: r.Events, Last: r.Last, Form: &form{ID: "retire", Action: "/benches/retire", Submit: "Retire bench " + r.Name, Once: newOnce(),
				Hidden: map[string]string{"bench": number}, Fields: []*field{{Name: "why", Label: "Why", Hint: "for the others to read: stolen, sold, given up"}}}}, nil
		}
	}
	return nil, &app.NotHere{Unit: "bench " + number, Why: "is none of this shop's"}
}

func retireBench(q *request) error {
	v, err := q.farewell(q.r.PostFormValue("bench"))
	if err != nil {
		return err
	}
	return q.post(v.Form, func() (string, []notice, error) {
		res, err := q.shop.Retire(v.Bench.Name, v.Form.value("why"))
		if err != nil {
			return "", nil, err
		}
		said := []notice{{Words: fmt.Sprintf("Bench %s is retired; %s of it count. The other benches hear of it when they meet.", res.Bench, events.Count(int(res.Events), "event"))}}
		for _, n := range res.Notes {
			said = append(said, notice{Words: capital(n) + ".", Warn: true})
		}
		return "/benches", said, nil
	}, func() error { return q.show("retire", "Retire bench "+v.Bench.Name, v) })
}

func spareForm() *form {
	return &form{ID: "spare", Action: "/benches/spare", Submit: "Make a spare key", Once: newOnce(), Small: true,
		Fields: []*field{{Name: "name", Label: "What it is for", Value: "drawer", Required: true}}}
}

func ownerForm() *form {
	return &form{ID: "owner", Action: "/benches/owner", Submit: "Use this key", Once: newOnce(), Small: true,
		Fields: []*field{{Name: "key", Label: "An owner's key, as it was printed", Required: true}}}
}

// once is what is shown a single time and kept nowhere.
type once struct {
	Title   string
	Secret  string
	Says    []string
	Picture any
	Print   []string // a fingerprint, to compare
	Back    string
}

// showOnce takes a form, and shows what came of it instead of going on to a page:
// the answer to a form that is sent again does not have it.
func (q *request) showOnce(f *form, back string, do func() (once, error), again func() error) error {
	if err := f.take(q.r); err != nil {
		return err
	}
	var got *once
	_, _, err := q.s.done.act(f.Once, func() (string, []notice, error) {
		o, err := do()
		got = &o
		return "", nil, err
	})
	switch {
	case err != nil:
		f.blame(err)
		q.status = statusOf(err)
		return again()
	case got == nil:
		return q.goTo(back, notice{Words: "That was shown already, and is shown once only. Make another if it is not at hand.", Warn: true})
	}
	q.status = http.StatusOK
	return q.show("once", got.Title, got)
}

// spareKey makes a further owner's key and shows it.
func spareKey(q *request) error {
	g, err := q.gathering()
	if err != nil {
		return err
	}
	return q.showOnce(g.Spare, "/benches", func() (once, error) {
		k, err := q.shop.Spare(g.Spare.value("name"))
		return once{Title: "A spare owner's key: " + k.Name, Secret: k.Key, Back: "/benches", Says: []string{
			"Print this page, or write the key down, and keep it in another place. It is shown once and written nowhere.",
			"If this laptop is lost, type it on another bench's page under Benches, or there with: oldhand owner-key use",
			"Whoever has it can let benches in and retire them."}}, err
	}, func() error { return q.show("benches", "Benches", g) })
}

// useOwnerKey puts an owner's key into this folder.
func useOwnerKey(q *request) error {
	return q.deed(func(g *gathering) *form { return g.UseOwner }, func(f *form) ([]notice, error) {
		key := f.value("key")
		f.field("key").Value = "" // it stands on no page again
		return []notice{{Words: "This bench can do what an owner does."}}, q.shop.UseOwnerKey(strings.NewReader(key + "\n"))
	})
}
