package web

import (
	"fmt"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// receivePage takes a unit in.
type receivePage struct {
	Form  *form
	Again *unitLine // the unit it is said to be
	Kept  kept
	Known []knownLine
}

// knownLine is a unit that the one at the counter may be.
type knownLine struct {
	Unit  unitLine
	Sure  bool
	Words string
	Done  []string
	At    string // takes it in as this one
}

// mostKnown is how many units are offered while a serial is typed.
const mostKnown = 4

// notThisUnit takes back that a unit is one that was here before.
const notThisUnit = "none"

func receive(q *request) error {
	p, err := q.receivePage(q.asked("by"))
	if err != nil {
		return err
	}
	if err := q.putBack(p.Form, &p.Kept); err != nil {
		return err
	}
	switch unit := q.asked("unit"); {
	case unit == notThisUnit:
		p.Form.Hidden["unit"] = ""
	case unit != "":
		err = q.again(&p, unit)
	case p.Form.Hidden["unit"] != "":
		err = q.again(&p, p.Form.Hidden["unit"])
	}
	if err != nil {
		return err
	}
	return q.show("receive", "Receive", p)
}

func (q *request) receivePage(by string) (receivePage, error) {
	usual, err := q.shop.HabitsAtIntake()
	return receivePage{Form: receiveForm(usual, by), Kept: kept{Form: "receive", Back: "/receive"}}, err
}

// again fills in what is known of a unit that was here before. It stands over what
// was typed: that is what somebody chose last.
func (q *request) again(p *receivePage, unit string) error {
	u, err := q.shop.AtBench(unit)
	if err != nil {
		return err
	}
	ref := refOf(u.Tag, u.Unit)
	p.Again = &unitLine{Ref: ref, Tag: u.Tag, Name: nameOf(u.Maker, u.Model), Serial: u.Serial, Year: u.Year}
	p.Form.Hidden["unit"] = ref
	for name, value := range map[string]string{"serial": u.Serial, "maker": u.Maker, "model": u.Model} {
		p.Form.field(name).Value = value
	}
	for _, x := range p.Form.Fields {
		x.Focus = x.Name == "complaint"
	}
	p.Known, err = q.known(events.Received{Serial: u.Serial, Maker: u.Maker, Model: u.Model})
	return err
}

// receiveForm asks first for what is said of every set, and keeps together what
// belongs together: whose it is, how it came, what its label says besides.
func receiveForm(usual app.Habits, by string) *form {
	f := &form{ID: "receive", Action: "/receive", Submit: "Take it in", Once: newOnce(), Hidden: map[string]string{"unit": ""}, Fields: []*field{
		{Name: "serial", Label: "Serial", Focus: true, Hint: "As it stands on the unit."},
		{Name: "maker", Label: "Maker", Suggest: usual.Makers},
		{Name: "model", Label: "Model", Suggest: usual.Models},
		{Name: "complaint", Label: "Complaint", Kind: "area", Wide: true, Hint: "In the owner's words."},
		{Name: "customer", Label: "Customer", Hint: "Name, telephone, e-mail and address are kept sealed."},
		{Name: "phone", Label: "Telephone", Kind: "tel"},
		{Name: "email", Label: "E-mail", Kind: "email"},
		{Name: "address", Label: "Address"},
		{Name: "city", Label: "City"},
		{Name: "carrier", Label: "Carrier", Suggest: usual.Carriers, Hint: "Who brought it."},
		{Name: "condition", Label: "Condition", Suggest: usual.Conditions, Hint: "How it looks."},
		{Name: "accessories", Label: "Accessories", Suggest: usual.Accessories, Hint: "What came with it."},
		{Name: "kind", Label: "Kind of set", Suggest: usual.Kinds},
		{Name: "year", Label: "Year made", Echo: "year", Hint: "Like 1967, or 1965-67."},
	}}
	f.Fields = append(f.Fields, whoFields(usual, by)...)
	return f
}

// receiveKnown says, while a serial is typed, what is known of it.
func receiveKnown(q *request) error {
	list, err := q.known(events.Received{Serial: q.asked("serial"), Maker: q.asked("maker"), Model: q.asked("model")})
	if err != nil {
		return err
	}
	return q.part("receive", "known", list)
}

func (q *request) known(c events.Received) (list []knownLine, err error) {
	found, err := q.shop.KnownOf(c, mostKnown)
	if err != nil {
		return nil, err
	}
	for _, k := range found {
		l := knownLine{Unit: lineOfMatch(k.Match), Sure: k.Sure}
		if k.Before != nil {
			l.Words, l.Done = k.Before.String(), k.Before.Done
		}
		if !k.Here {
			l.At = "/receive?unit=" + l.Unit.Ref
		}
		list = append(list, l)
	}
	return list, nil
}

// receiveDo takes a unit in and goes to its bench.
func receiveDo(q *request) error {
	if err := q.r.ParseForm(); err != nil {
		return formError(err)
	}
	p, err := q.receivePage("")
	if err != nil { // what was typed must not go with what can't be read
		p.Form = receiveForm(app.Habits{}, "")
	}
	if unit := q.r.PostForm.Get("unit"); unit != "" {
		p.Again = &unitLine{Ref: unit, Name: unit}
	}
	return q.save(p.Form, p.Kept, func(s *app.Shop) (string, []notice, error) {
		in, err := intakeOf(p.Form)
		if err != nil {
			return "", nil, err
		}
		res, err := s.Receive(in)
		if err != nil {
			return "", nil, err
		}
		return benchAt(refOf(res.Tag, res.Unit), "", in.By), receivedWords(res), nil
	}, func() error { return q.show("receive", "Receive", p) })
}

func intakeOf(f *form) (in app.Intake, err error) {
	if in.Who, err = whoOf(f); err != nil {
		return in, err
	}
	in.Unit = f.sent.Get("unit")
	in.Claim = events.Received{Maker: f.value("maker"), Model: f.value("model"), Serial: f.value("serial"), KindOfSet: f.value("kind"),
		Complaint: f.value("complaint"), Condition: f.value("condition"), Accessories: f.value("accessories"), Carrier: f.value("carrier")}
	if in.Claim.YearFrom, in.Claim.YearTo, err = app.Years(f.value("year")); err != nil {
		return in, &app.Wrong{What: "year", Why: err.Error()}
	}
	in.Customer = events.Personal{Name: f.value("customer"), Phone: f.value("phone"), Email: f.value("email"), Address: f.value("address"), City: f.value("city")}
	return in, nil
}

// receivedWords say what was saved, and what the counter should know at once.
func receivedWords(r app.ReceiveResult) (said []notice) {
	for _, e := range r.Events {
		if e.Kind != events.KindPersonRecorded.String() {
			said = append(said, notice{Words: "Saved: " + e.Line})
		}
	}
	switch {
	case r.Before != nil:
		said = append(said, notice{Words: "This unit " + r.Before.String() + "."})
	case r.New:
		said = append(said, notice{Words: "New here; its tag is " + r.Tag + "."})
	}
	for _, n := range r.Notes {
		said = append(said, notice{Words: "Look at it: " + n, Warn: true})
	}
	for _, l := range r.Likely {
		said = append(said, notice{Words: fmt.Sprintf("Perhaps the same as %s. If it is, press j and say %s.", l, l.Tag), Warn: true})
	}
	return said
}
