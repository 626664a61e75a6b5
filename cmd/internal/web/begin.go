package web

import (
	"context"
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
			{Name: "code", Label: "Join code", Required: true, Hint: "made on the bench that hosts: on its page under Benches, or with: oldhand invite", Wide: true},
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
			return "", nil, err
		}
		return "/", []notice{{Words: "This machine is bench " + j.Bench + " of " + j.Name + "."}}, nil
	}, func() error { return q.show("begin", "Begin", b) })
}
