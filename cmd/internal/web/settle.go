package web

import (
	"fmt"
	"strings"

	"oldhand/cmd/internal/app"
)

// addForms gives a unit's page the forms of what a person should decide: which
// version of a fact holds, and which entries are one set.
func (p *past) addForms(w app.Whole) {
	at := "/unit/" + p.Ref
	for _, c := range w.Conflicts {
		p.Conflicts = append(p.Conflicts, settleForm(at, c))
	}
	for _, l := range w.Likely {
		p.Likely = append(p.Likely, &pairing{lineOfLikely(l), pairForm(at+"/pair", "likely-"+l.Unit, l, "Join: one set", "Keep apart")})
	}
	for i, l := range w.Joined {
		if i > 0 { // the first is what it goes by
			p.Joined = append(p.Joined, &pairing{lineOfLikely(l), pairForm(at+"/pair", "joined-"+l.Unit, l, "", "Part again")})
		}
	}
}

// settleForm chooses one of the versions of a fact.
func settleForm(at string, c app.PastConflict) *form {
	f := &form{ID: "settle-" + c.Fact, Action: at + "/settle", Submit: "Settle it", Once: newOnce(), Hidden: map[string]string{"entry": c.Fact}}
	keep := &field{Name: "keep", Label: "Which one holds?", Kind: "radio", Wide: true, Required: true}
	for i, v := range c.Versions {
		by := strings.TrimSpace(dayOf(v.At) + " " + v.By)
		said := strings.TrimPrefix(v.Line, "corrected to ")
		keep.Options = append(keep.Options, option{v.Event, fmt.Sprintf("%s (%s%s)", said, by, choose(i == 0, ", shown meanwhile", ""))})
	}
	f.Fields = []*field{keep, {Name: "why", Label: "Why"}, {Name: "by", Label: "By", Hint: "your short name"}}
	return f
}

// pairForm says that another entry is, or is not, the same set.
func pairForm(at, id string, l app.Likely, same, apart string) *form {
	f := &form{ID: id, Action: at, Once: newOnce(), Small: true, Hidden: map[string]string{"other": refOf(l.Tag, l.Unit)},
		Fields: []*field{{Name: "why", Label: "How that is known"}}}
	if same != "" {
		f.Buttons = append(f.Buttons, option{"same", same})
	}
	f.Buttons = append(f.Buttons, option{"apart", apart})
	return f
}

// settle ends a conflict.
func settleConflict(q *request) error {
	p, err := q.past()
	if err != nil {
		return err
	}
	f := formBy(p.Conflicts, "entry", q.r.PostFormValue("entry"))
	if f == nil {
		return q.goTo("/unit/"+p.Ref, notice{Words: "That conflict is settled already.", Warn: true})
	}
	return q.post(f, func() (string, []notice, error) {
		saved, err := q.shop.Settle(p.Ref, f.Hidden["entry"], f.value("keep"), f.value("why"), app.Who{By: f.value("by")})
		if err != nil {
			return "", nil, err
		}
		return "/unit/" + saved.Tag, []notice{{Words: "The conflict is settled. The other version is kept, and counts no more."}}, nil
	}, func() error { return q.show("unit", p.Name, p) })
}

// pair joins two entries, or parts them.
func pair(q *request) error {
	p, err := q.past()
	if err != nil {
		return err
	}
	other := q.r.PostFormValue("other")
	f := formBy(pairForms(p), "other", other)
	if f == nil {
		return q.goTo("/unit/"+p.Ref, notice{Words: "That was decided already.", Warn: true})
	}
	return q.post(f, func() (string, []notice, error) {
		do, words := q.shop.Same, "The two are one set: "
		if q.r.PostFormValue("do") == "apart" {
			do, words = q.shop.Apart, "The two are kept apart: "
		}
		saved, err := do(p.Ref, other, f.value("why"), app.Who{})
		if err != nil {
			return "", nil, err
		}
		return "/unit/" + p.Ref, []notice{{Words: words + saved.Events[0].Line}}, nil
	}, func() error { return q.show("unit", p.Name, p) })
}

func pairForms(p *past) (list []*form) {
	for _, o := range append(p.Likely, p.Joined...) {
		list = append(list, o.Form)
	}
	return list
}

// formBy is the form whose hidden value is what was sent.
func formBy(forms []*form, name, value string) *form {
	for _, f := range forms {
		if f.Hidden[name] == value && value != "" {
			return f
		}
	}
	return nil
}
