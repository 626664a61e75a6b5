package web

import (
	"fmt"
	"strings"

	"oldhand/cmd/internal/app"
	"oldhand/events"
)

// devices is the page of phones and tablets.
type devices struct {
	On      bool
	At      string   // its address, while it listens
	Print   []string // the fingerprint of its certificate, in pieces
	Trouble string
	Names   string
	Switch  *form
	Let     *form
	List    []device
}

type device struct {
	Name, Rights, Says string
	Again, End         *form
}

// says is how it stands, in a sentence.
func (d *landoor) says() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := len(d.lan.State().Devices)
	switch {
	case d.at != "":
		return fmt.Sprintf("The page is shown on the local network, to %s.", events.Count(n, "device"))
	case d.trouble != "":
		return "The page is to be shown on the local network and is not: " + d.trouble + "."
	}
	return "The page is shown on this machine only."
}

func phones(q *request) error { return q.show("phones", "Phone and tablet", q.devices()) }

func (q *request) devices() *devices {
	st, door := q.s.lan.lan.State(), q.s.lan
	door.mu.Lock()
	v := &devices{On: st.On, Trouble: door.trouble, Print: pieces(door.print), Names: strings.Join(st.Names, ", ")}
	if door.at != "" {
		v.At = "https://" + door.at + "/"
	}
	door.mu.Unlock()
	if st.On {
		v.Switch = &form{ID: "off", Action: "/phones/off", Submit: "Show it on this machine only", Once: newOnce(), Small: true}
	} else {
		v.Switch = switchForm(st)
	}
	if st.Address != "" {
		v.Let = letForm()
	}
	for _, d := range st.Devices {
		v.List = append(v.List, device{Name: d.Name, Rights: d.Rights, Says: d.Says,
			Again: &form{ID: "again-" + d.ID, Action: "/phones/again", Submit: "Fresh code", Once: newOnce(), Small: true, Hidden: map[string]string{"device": d.ID}},
			End:   &form{ID: "end-" + d.ID, Action: "/phones/end", Submit: "Take away", Once: newOnce(), Small: true, Hidden: map[string]string{"device": d.ID}}})
	}
	return v
}

func switchForm(st app.LanState) *form {
	own := app.LanAddresses()
	address := &field{Name: "address", Label: "At which address", Required: true, Value: st.Address, Suggest: own, Hint: "one of this machine's own in a private network; the port is " + app.LanPort + " unless you add another"}
	if st.Address == "" && len(own) > 0 {
		address.Value = own[0]
	}
	if len(own) == 0 {
		address.Hint = "this machine is in no private network at the moment"
	}
	return &form{ID: "on", Action: "/phones/on", Submit: "Show it on the local network", Once: newOnce(), Fields: []*field{address,
		{Name: "names", Label: "Further names", Value: strings.Join(st.Names, ", "), Hint: "that your network has for this machine, such as front.home.arpa; it answers to no other"}}}
}

func letForm() *form {
	return &form{ID: "let", Action: "/phones/let", Submit: "Make its code", Once: newOnce(), Fields: []*field{
		{Name: "name", Label: "Whose device", Required: true, Hint: "such as: Ana's phone"},
		{Name: "rights", Label: "It may", Kind: "select", Value: "read", Options: []option{{"read", "look only"}, {"write", "look and write"}}},
		{Name: "customers", Label: "Show customers' names where it may look only", Kind: "checkbox"}}}
}

// pieces cuts a fingerprint into what an eye takes in at once.
func pieces(print string) (list []string) {
	const size = len("AA:BB:CC:DD:EE:FF:00:11:")
	for len(print) > 0 {
		n := min(size, len(print))
		list, print = append(list, strings.TrimSuffix(print[:n], ":")), print[n:]
	}
	return list
}

func phonesOn(q *request) error {
	return q.devicesDeed(func(v *devices) *form { return v.Switch }, func(f *form) ([]notice, error) {
		return nil, q.s.lan.turn(func() error {
			return q.s.lan.lan.On(f.value("address"), strings.FieldsFunc(f.value("names"), func(r rune) bool { return r == ',' || r == ' ' || r == ';' }))
		})
	})
}

func phonesOff(q *request) error {
	return q.devicesDeed(func(v *devices) *form { return v.Switch }, func(*form) ([]notice, error) {
		return []notice{{Words: "The page is shown on this machine only. Whom you let in comes back when you turn it on again."}}, q.s.lan.turn(q.s.lan.lan.Off)
	})
}

func (q *request) devicesDeed(which func(*devices) *form, do func(*form) ([]notice, error)) error {
	v := q.devices()
	f := which(v)
	if f == nil || f.Action != q.r.URL.Path {
		return q.goTo("/phones", notice{Words: "That was done already.", Warn: true})
	}
	return q.post(f, func() (string, []notice, error) {
		said, err := do(f)
		return "/phones", said, err
	}, func() error { return q.show("phones", "Phone and tablet", v) })
}

func phonesLet(q *request) error {
	v := q.devices()
	f := v.Let
	if f == nil {
		return q.goTo("/phones", notice{Words: "Turn it on first.", Warn: true})
	}
	return q.showOnce(f, "/phones", func() (once, error) {
		c, err := q.s.lan.lan.Let(f.value("name"), f.value("rights") == "write", f.value("customers") != "")
		return codeOnce(c, q.s.lan), err
	}, func() error { return q.show("phones", "Phone and tablet", v) })
}

func phonesAgain(q *request) error {
	v := q.devices()
	for _, d := range v.List {
		if d.Again.Hidden["device"] != q.r.PostFormValue("device") {
			continue
		}
		return q.showOnce(d.Again, "/phones", func() (once, error) {
			c, err := q.s.lan.lan.Again(d.Again.Hidden["device"])
			return codeOnce(c, q.s.lan), err
		}, func() error { return q.show("phones", "Phone and tablet", v) })
	}
	return q.goTo("/phones", notice{Words: "That device was taken away already.", Warn: true})
}

func codeOnce(c app.DeviceCode, d *landoor) once {
	d.mu.Lock()
	defer d.mu.Unlock()
	return once{Title: c.Name, Secret: c.Address, Picture: codePicture(c.Address), Back: "/phones", Says: []string{
		"Scan this with " + c.Name + ", or type the address there. It lets one browser in, once, until " + c.Until + ", and is shown once. It " + c.Rights + ".",
		"That browser will say that it does not know who it speaks to, since no authority outside this shop vouches for the page. Go on if the SHA-256 fingerprint of the certificate that it shows is this one:",
	}, Print: pieces(d.print)}
}

func phonesEnd(q *request) error {
	v := q.devices()
	for _, d := range v.List {
		if d.End.Hidden["device"] != q.r.PostFormValue("device") {
			continue
		}
		return q.post(d.End, func() (string, []notice, error) {
			return "/phones", []notice{{Words: d.Name + " may use the page no more. What it had open is ended."}}, q.s.lan.lan.End(d.End.Hidden["device"])
		}, func() error { return q.show("phones", "Phone and tablet", v) })
	}
	return q.goTo("/phones", notice{Words: "That device was taken away already.", Warn: true})
}
