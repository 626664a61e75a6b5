package web

import (
	"fmt"
	"html/template"

	"oldhand/cmd/internal/app"
	"oldhand/cmd/internal/qr"
)

// gathering is who belongs to the shop and how they meet.
type gathering struct {
	Alive string
	Own   bool // on this machine, where all can be done
	Owner bool // the owner's key is here

	Rows    []benchRow
	Met     string   // when this bench met the others last
	Odd     []string // what an owner should look at
	Aside   table
	Because []string // why it is kept aside

	Place    meetingPlace
	Host     *form
	Watch    *form
	Meet     *form
	Code     joinCodes
	Disputes []dispute
	More     int // disputes that are not shown
	Spare    *form
	UseOwner *form
	Out, In  *trouble // what went wrong with a bundle
	Phones   string
	Backup   app.Finding // how this folder stands with backups
}

// benchRow is one bench.
type benchRow struct {
	Name, Mark   string
	Number       uint32
	Events, Last string
	Here         bool
	Retired      bool
	Says         []string
	MayRetire    bool
	MayRelease   bool
}

// dispute is one fact to be settled.
type dispute struct {
	Unit unitLine
	Form *form
}

// mostDisputes is how many are shown at once; those settled make room.
const mostDisputes = 20

func benches(q *request) error {
	g, err := q.gathering()
	if err != nil {
		return err
	}
	if q.wantsPart() {
		return q.part("benches", "who", g)
	}
	return q.show("benches", "Benches", g)
}

// gathering reads all that the page shows.
func (q *request) gathering() (g *gathering, err error) {
	g = &gathering{Own: q.visitor == nil, Owner: q.shop.IsOwners()}
	if g.Alive, err = q.alive(""); err != nil {
		return nil, err
	}
	b, err := q.shop.Benches()
	if err != nil {
		return nil, err
	}
	g.addBenches(b)
	if err := g.addDisputes(q); err != nil {
		return nil, err
	}
	if !g.Own {
		return g, nil
	}
	st, err := q.s.duties.State()
	if err != nil {
		return nil, err
	}
	g.Place = placeOf(st)
	g.addPlaceForms(st)
	if g.Code, err = q.joinCodes(); err != nil {
		return nil, err
	}
	g.Code.Hosts, g.Code.Owner = st.Hosts || st.Command, g.Owner
	g.Spare = spareForm()
	g.UseOwner = ownerForm()
	g.Phones = q.s.lan.says()
	g.Backup = q.shop.BackupFinding()
	g.Backup.Says = capital(g.Backup.Says)
	return g, err
}

func (g *gathering) addBenches(b app.Benches) {
	g.Met, g.Odd, g.Because = capital(b.MetSays), b.Notes, b.Says
	for _, x := range b.Benches {
		r := benchRow{Name: x.Name, Number: x.Number, Events: fmt.Sprint(x.Events), Last: x.Last, Here: x.Here, Retired: x.Retired, Says: x.Says,
			MayRetire: g.Own && g.Owner && !x.Here && !x.Retired, MayRelease: g.Own && g.Owner && x.Retired}
		for i, said := range r.Says {
			r.Says[i] = capital(said)
		}
		switch {
		case x.Here:
			r.Mark = "this bench"
		case x.Retired:
			r.Mark = "retired"
		}
		g.Rows = append(g.Rows, r)
	}
	g.Aside = table{Caption: "Kept aside", Head: []string{"bench", "events", "why"}}
	for _, a := range b.Aside {
		events := fmt.Sprint(a.First)
		if a.Last > a.First {
			events = fmt.Sprintf("%d to %d", a.First, a.Last)
		}
		g.Aside.Rows = append(g.Aside.Rows, []cell{{Text: a.Bench}, {Text: events}, {Text: choose(a.Words != "", a.Words, a.Why)}})
	}
}

func (g *gathering) addDisputes(q *request) error {
	list, err := q.shop.Conflicts()
	if err != nil {
		return err
	}
	for _, u := range list {
		for _, c := range u.Conflicts {
			if len(g.Disputes) == mostDisputes {
				g.More++
				continue
			}
			g.Disputes = append(g.Disputes, disputeOf(u, c))
		}
	}
	return nil
}

func disputeOf(u app.Disputed, c app.PastConflict) dispute {
	ref := refOf(u.Tag, u.Unit)
	f := settleForm("/benches", c)
	f.Hidden["unit"] = ref
	return dispute{unitLine{Ref: ref, Tag: u.Tag, Name: nameOf(u.Name, "")}, f}
}

// settleDispute ends a conflict.
func settleDispute(q *request) error {
	g, err := q.gathering()
	if err != nil {
		return err
	}
	for _, d := range g.Disputes {
		if d.Form.Hidden["entry"] != q.r.PostFormValue("entry") {
			continue
		}
		return q.post(d.Form, func() (string, []notice, error) {
			saved, err := q.shop.Settle(d.Form.Hidden["unit"], d.Form.Hidden["entry"], d.Form.value("keep"), d.Form.value("why"), app.Who{By: d.Form.value("by")})
			if err != nil {
				return "", nil, err
			}
			return "/benches", []notice{{Words: saved.Tag + ": the conflict is settled. The other version is kept, and counts no more."}}, nil
		}, func() error { return q.show("benches", "Benches", g) })
	}
	return q.goTo("/benches", notice{Words: "That conflict is settled already.", Warn: true})
}

// codePicture is a code as a picture for a page, with words for who can't see it.
func codePicture(text string) template.HTML {
	c, err := qr.Make(text)
	if err != nil {
		return "" // it can be typed
	}
	return template.HTML(c.SVG()) // squares only, made by package qr
}
