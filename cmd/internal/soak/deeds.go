package main

import (
	"fmt"
	"net/url"
	"strings"

	"oldhand/projections"
)

var (
	makers   = []string{"Ostrel", "Corvane", "Tavish", "Varnholt", "Zephyrine"}
	models   = []string{"R-950", "MS-44", "T-6", "V-80", "Q1", "A3"}
	troubles = []string{"hums", "no sound", "station 3 dead", "crackles", "dial stuck", "smells of tar"}
	findings = []string{"filter caps leaky", "vol. control scratchy", "speaker open", "C14 open", "dial string broken"}
	places   = []string{"AM", "FM", "phono", "speaker"}
	waits    = []string{"parts", "donor", "payment"}
)

func isOpen(u *unit) bool { return u.open && !u.waits }
func anyUnit(*unit) bool  { return true }

// byPage is what is done by the page's forms, and which pages are looked at.
var byPage = []deed{
	{name: "receive, page", often: 10, saves: true, do: receiveByPage},
	{name: "diagnose, page", often: 8, saves: true, do: onOpen("diagnose", "cause", "MARK", "finding", "?findings")},
	{name: "replace, page", often: 8, saves: true, do: onOpen("replace", "designator", "C14", "in", ".047 MFD 400V MARK", "reason", "failed")},
	{name: "measure, page", often: 12, saves: true, do: onOpen("measure", "point", "?places", "reading", "? mV", "conditions", "MARK")},
	{name: "work, page", often: 5, saves: true, do: onOpen("work", "work", "cleaned", "minutes", "20", "text", "MARK")},
	{name: "note, page", often: 12, saves: true, do: onOpen("note", "text", "MARK went well")},
	{name: "test, page", often: 3, saves: true, do: onOpen("test", "verdict", "passed", "leftout", "MARK no record at hand")},
	{name: "estimate, page", often: 3, saves: true, do: onOpen("estimate", "amount", "120.50", "text", "MARK")},
	{name: "wait and resume, page", often: 4, saves: true, do: waitAndResume},
	{name: "ship, page", often: 6, saves: true, do: shipByPage},
	{name: "same and apart, page", often: 1, saves: true, do: sameAndApart},
	{name: "photo, page", often: 2, saves: true, do: photoByPage},
	{name: "look up", often: 25, lookup: true, do: lookUp},
	{name: "unit page", often: 8, do: onAny("/unit/%s", "/unit/%s/files", "/unit/%s/bench", "/unit/%s/record", "/unit/%s/record/pdf")},
	{name: "question", often: 6, do: question},
	{name: "other page", often: 8, do: otherPage},
	{name: "meet", often: 1, do: meetByPage},
}

// onOpen fills in a form of a unit that stands on the bench. A value that begins with
// ? is drawn anew each time.
func onOpen(do string, typed ...string) func(*person) (bool, error) {
	return func(p *person) (bool, error) {
		u := p.some(isOpen)
		if u == nil {
			return receiveByPage(p)
		}
		said := append([]string(nil), typed...)
		for i, t := range said {
			switch t {
			case "?findings":
				said[i] = pick(p, findings)
			case "?places":
				said[i] = pick(p, places)
			case "? mV":
				said[i] = fmt.Sprintf("%d mV", 40+p.r.IntN(80))
			}
		}
		return p.at(u, do, said...)
	}
}

func (p *person) newUnit() *unit {
	serial := fmt.Sprintf("%c%02d-%07d", 'A'+p.r.IntN(26), p.r.IntN(100), p.r.IntN(10000000))
	return &unit{serial: serial, maker: pick(p, makers), model: pick(p, models), open: true}
}

// customer is a name that no other is like.
func (p *person) customer() string {
	word := func() string {
		var b strings.Builder
		for range 3 + p.r.IntN(2) {
			b.WriteByte("bdfgklmnprstvz"[p.r.IntN(14)])
			b.WriteByte("aeiou"[p.r.IntN(5)])
		}
		s := b.String()
		return strings.ToUpper(s[:1]) + s[1:]
	}
	return word() + " " + word()
}

func receiveByPage(p *person) (bool, error) {
	u, mark := p.newUnit(), p.mark()
	v := url.Values{"maker": {u.maker}, "model": {u.model}, "serial": {u.serial}, "complaint": {pick(p, troubles) + ", " + mark}, "city": {"Holmby"}, "year": {fmt.Sprint(1948 + p.r.IntN(30))}}
	if p.r.IntN(2) == 0 {
		v.Set("customer", p.customer())
	}
	a, err := p.form("/receive", "receive", v, mark)
	if err != nil {
		return false, err
	}
	var ok bool
	if u.tag, ok = tagIn(a.at.Path); !ok {
		return false, fmt.Errorf("taking a unit in leads to %s: %.600s", a.at.Path, textOf(a.body))
	}
	p.add(u)
	return true, nil
}

// tagIn is the tag in the address of a unit's page.
func tagIn(path string) (string, bool) {
	rest, ok := strings.CutPrefix(path, "/unit/")
	tag, _, _ := strings.Cut(rest, "/")
	return tag, ok && tag != ""
}

func waitAndResume(p *person) (bool, error) {
	u := p.some(func(u *unit) bool { return u.open })
	if u == nil {
		return false, nil
	}
	do, typed := "wait", []string{"for", pick(p, waits), "text", "MARK"}
	if u.waits {
		do, typed = "resume", []string{"text", "MARK"}
	}
	did, err := p.at(u, do, typed...)
	u.waits = u.waits != did
	return did, err
}

func shipByPage(p *person) (bool, error) {
	u := p.some(isOpen)
	if u == nil {
		return false, nil
	}
	did, err := p.at(u, "ship", "outcome", "repaired", "warranty", "90", "text", "MARK")
	u.open = !did
	return did, err
}

// sameAndApart joins two units and parts them again, later or at once.
func sameAndApart(p *person) (bool, error) {
	if len(p.units) < 2 {
		return false, nil
	}
	a := p.units[p.r.IntN(len(p.units)-1)]
	b := p.units[len(p.units)-1]
	if did, err := p.at(a, "same", "other", b.tag, "why", "MARK one carton"); err != nil || !did {
		p.drop(b)
		return did, err
	}
	other, err := p.otherThanShown(a, b)
	if err != nil {
		p.drop(b)
		return false, err
	}
	did, err := p.at(a, "apart", "other", other, "why", "MARK two cartons after all")
	if err != nil {
		p.drop(b)
	}
	return did, err
}

// otherThanShown is the tag of two joined units under which their page does not stand:
// they go by the one that came first, by clocks that jump.
func (p *person) otherThanShown(a, b *unit) (string, error) {
	page, err := p.get("/unit/" + a.tag + "/bench?do=apart")
	if err != nil {
		return "", err
	}
	action, _, err := formIn(page.body, "apart")
	if strings.HasPrefix(action, "/unit/"+b.tag+"/") {
		return a.tag, err
	}
	return b.tag, err
}

func photoByPage(p *person) (bool, error) {
	u := p.some(anyUnit)
	if u == nil {
		return false, nil
	}
	mark, photo := p.mark(), p.photo()
	path := "/attach?unit=" + u.tag
	before := p.bench.mood()
	a, err := p.bench.upload(p.s.all, path, "files", "door.jpg", photo, url.Values{"what": {mark}})
	if err = p.judge(before, "POST "+path, a, err); err == nil {
		p.s.ledger.marked(p.bench.name, mark)
	}
	return err == nil, err
}

// lookUp looks for a unit by its tag or serial, at times with a slip of the hand, and
// wants to find it.
func lookUp(p *person) (bool, error) {
	u := p.some(anyUnit)
	if u == nil {
		return false, nil
	}
	typed := u.tag
	switch p.r.IntN(4) {
	case 0, 1:
		typed = u.serial
	case 2:
		i := 4 + p.r.IntN(6) // two neighbours are swapped
		typed = u.serial[:i] + u.serial[i+1:i+2] + u.serial[i:i+1] + u.serial[min(i+2, len(u.serial)):]
	}
	a, err := p.get("/find?q=" + url.QueryEscape(typed))
	if err == nil && !strings.Contains(string(a.body), u.tag) {
		err = fmt.Errorf("unit %s, serial %s, is not found by %q: %.600s", u.tag, u.serial, typed, textOf(a.body))
	}
	return err == nil, err
}

func onAny(paths ...string) func(*person) (bool, error) {
	return func(p *person) (bool, error) {
		u := p.some(anyUnit)
		if u == nil {
			return false, nil
		}
		_, err := p.get(fmt.Sprintf(pick(p, paths), u.tag))
		return err == nil, err
	}
}

func question(p *person) (bool, error) {
	q := pick(p, projections.Questions)
	by := ""
	if len(q.By) > 0 {
		by = "?by=" + pick(p, q.By)
	}
	_, err := p.get("/fleet/" + q.Name + pick(p, []string{"", "", "/csv", "/xlsx"}) + by)
	return err == nil, err
}

func otherPage(p *person) (bool, error) {
	_, err := p.get(pick(p, []string{"/", "/", "/fleet", "/year", "/tags", "/words", "/sheets", "/sums", "/benches", "/receive", "/import", "/phones", "/benches/place"}))
	return err == nil, err
}

// meetByPage meets the others once. That they may be away is no fault.
func meetByPage(p *person) (bool, error) {
	a, err := p.get("/benches")
	if err != nil {
		return false, err
	}
	action, v, err := formIn(a.body, "meet")
	if err != nil {
		return false, nil // the others come here
	}
	before := p.bench.mood()
	if a, err = p.bench.send(p.s.all, action, v); err == nil && a.status == 502 && p.s.disturbedLately() {
		return false, nil
	}
	return err == nil, p.judge(before, "POST "+action, a, err)
}
