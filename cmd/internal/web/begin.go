package web

import (
	"context"
	"errors"
	"strings"
	"time"

	"oldhand/cmd/internal/app"
)

// beginning is what an empty folder shows: the ways to begin.
type beginning struct {
	Dir   string
	Found *form
	Join  *form
}

func newBeginning(q *request) *beginning {
	return &beginning{
		Dir: q.s.opt.Dir,
		Found: &form{ID: "found", Action: "/begin/found", Submit: "Found the shop", Once: newOnce(), Fields: []*field{
			{Name: "shop", Label: "Name of the shop", Required: true, Focus: true},
			{Name: "bench", Label: "Name of this bench", Required: true, Hint: "this laptop, such as front or attic"},
		}},
		Join: &form{ID: "join", Action: "/begin/join", Submit: "Join the shop", Once: newOnce(), Fields: []*field{
			{Name: "code", Label: "Join code", Required: true, Hint: "made on the bench with the owner's key while it hosts: on its page under Benches, or with: oldhand invite", Wide: true},
			{Name: "bench", Label: "Name of this bench", Required: true},
		}},
	}
}

func begin(q *request) error {
	if q.shop != nil {
		return q.goTo("/")
	}
	return q.show("begin", "Begin", newBeginning(q))
}

func beginFound(q *request) error {
	b := newBeginning(q)
	return q.post(b.Found, func() (string, []notice, error) {
		shop, err := app.Found(q.s.opt.Dir, b.Found.value("shop"), b.Found.value("bench"), q.s.opt.App)
		if err != nil {
			return "", nil, err
		}
		return "/", []notice{{Words: shop.Card.Name + " is founded. Keep a copy of " + q.s.opt.Dir + "/keys/owner.key in another place: it is the owner's key, and nothing can replace it.", Warn: true}}, q.s.take(shop)
	}, func() error { return q.show("begin", "Begin", b) })
}

// joinWithin is how long joining may take: the bench that hosts is asked, and
// what the shop has is taken in.
const joinWithin = 5 * time.Minute

func beginJoin(q *request) error {
	b := newBeginning(q)
	return q.post(b.Join, func() (string, []notice, error) {
		ctx, stop := context.WithTimeout(q.r.Context(), joinWithin)
		defer stop()
		j, err := app.Join(ctx, q.s.opt.Dir, strings.Fields(b.Join.value("code")), b.Join.value("bench"), q.s.opt.App)
		if err != nil {
			return "", nil, joinWords(err)
		}
		said := []notice{{Words: "This machine is bench " + j.Bench + " of " + j.Name + "."}}
		if j.Note != "" {
			said = append(said, notice{Words: capital(j.Note) + ". On Benches the others can be met again.", Warn: true})
		}
		return "/", said, nil
	}, func() error { return q.show("begin", "Begin", b) })
}

// joinWords puts what is wrong with a code beside the field that it was typed into, and
// names the page of the other bench beside the command.
func joinWords(err error) error {
	var wrong *app.Wrong
	if !errors.As(err, &wrong) {
		return err
	}
	said := *wrong
	said.Why = strings.ReplaceAll(said.Why, "with: oldhand invite", "on its page under Benches, or with: oldhand invite")
	said.Why = strings.ReplaceAll(said.Why, "is oldhand host running there", "does it host there, as its page under Benches says")
	switch {
	case said.What == "the code":
		said.What = "code"
	case strings.HasPrefix(said.Why, "bench "): // the host's answer, about the name
		said.What = "bench"
	}
	return &said
}
