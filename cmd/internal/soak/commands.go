package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// byCommand is what is done by commands.
var byCommand = []deed{
	{name: "receive, command", often: 10, saves: true, do: receiveByCommand},
	{name: "note, command", often: 12, saves: true, do: noteByCommand},
	{name: "diagnose, command", often: 8, saves: true, do: onOpenUnit("diagnose", "UNIT", "filter caps leaky")},
	{name: "measure, command", often: 10, saves: true, do: onOpenUnit("measure", "UNIT", "AM", "95 mV", "--as-left")},
	{name: "replace, command", often: 8, saves: true, do: onOpenUnit("replace", "UNIT", "C1", "50-30-30 MFD 450V", "--reason", "failed")},
	{name: "work, command", often: 4, saves: true, do: onOpenUnit("work", "UNIT", "cleaned", "--minutes", "15")},
	{name: "ship, command", often: 6, saves: true, do: shipByCommand},
	{name: "correct, command", often: 6, saves: true, do: correctNote},
	{name: "withdraw, restore", often: 3, saves: true, do: withdrawOrRestore},
	{name: "photo, command", often: 3, saves: true, do: photoByCommand},
	{name: "past", often: 10, lookup: true, do: onAnyUnit("past", "UNIT")},
	{name: "ask", often: 4, do: askByCommand},
	{name: "today", often: 4, do: onAnyUnit("today")},
	{name: "record", often: 2, do: onAnyUnit("record", "UNIT")},
	{name: "settle", often: 2, saves: true, do: settleOne},
	{name: "import", often: 1, saves: true, do: importBook},
	{name: "bundle to another", often: 2, do: bundleAcross},
	{name: "forget", often: 1, do: forgetOne},
}

// command runs a command and says what is wrong. Where a fault came between that is
// excused.
func (p *person) command(args ...string) ([]byte, error) {
	before, began := p.bench.mood(), time.Now()
	out, err := p.bench.run(p.s.all, append(args, "--json")...)
	kind := "other commands"
	switch {
	case p.now.lookup:
		kind = "lookups by command"
	case p.now.saves:
		kind = "saves by command"
	}
	p.took(before, kind, time.Since(began), err)
	if err != nil && p.bench.excused(before) {
		return nil, fmt.Errorf("%w: %w", errExcused, err)
	}
	return out, err
}

// action is a command that saves something. It gives the ids that it says.
func (p *person) action(args ...string) (tag string, ids []string, err error) {
	out, err := p.command(args...)
	if err != nil {
		return "", nil, err
	}
	var saved struct {
		Tag    string
		Events []struct{ ID string }
	}
	if err := json.Unmarshal(out, &saved); err != nil || len(saved.Events) == 0 {
		return "", nil, fmt.Errorf("oldhand %s saved nothing that it tells: %w: %s", args, err, out)
	}
	for _, e := range saved.Events {
		ids = append(ids, e.ID)
	}
	p.s.ledger.saved(p.bench.name, ids...)
	return saved.Tag, ids, nil
}

func receiveByCommand(p *person) (bool, error) {
	u := p.newUnit()
	args := []string{"receive", "--maker", u.maker, "--model", u.model, "--serial", u.serial, "--complaint", pick(p, troubles)}
	name := ""
	if p.r.IntN(2) == 0 {
		name = p.customer()
		args = append(args, "--customer", name, "--city", "Holmby")
	}
	tag, _, err := p.action(args...)
	if err != nil {
		return false, err
	}
	u.tag = tag
	p.add(u)
	if name != "" {
		p.names = append(p.names, name)
	}
	return true, nil
}

// onOpenUnit runs a command about a unit that stands on the bench.
func onOpenUnit(args ...string) func(*person) (bool, error) {
	return func(p *person) (bool, error) {
		u := p.some(isOpen)
		if u == nil {
			return receiveByCommand(p)
		}
		_, _, err := p.action(about(u, args)...)
		if err != nil {
			p.drop(u)
		}
		return err == nil, err
	}
}

func about(u *unit, args []string) []string {
	list := append([]string(nil), args...)
	for i := range list {
		list[i] = strings.ReplaceAll(list[i], "UNIT", u.tag)
	}
	return list
}

func onAnyUnit(args ...string) func(*person) (bool, error) {
	return func(p *person) (bool, error) {
		u := p.some(anyUnit)
		if u == nil {
			return false, nil
		}
		_, err := p.command(about(u, args)...)
		return err == nil, err
	}
}

func noteByCommand(p *person) (bool, error) {
	u := p.some(anyUnit)
	if u == nil {
		return receiveByCommand(p)
	}
	_, ids, err := p.action("note", u.tag, "dial string renewed, "+p.mark())
	switch {
	case err != nil:
	case p.r.IntN(2) == 0:
		u.notes = append(u.notes, ids[0])
	default: // any bench may correct this one
		p.s.share(u.tag, ids[0])
	}
	return err == nil, err
}

func shipByCommand(p *person) (bool, error) {
	u := p.some(isOpen)
	if u == nil {
		return false, nil
	}
	_, _, err := p.action("ship", u.tag, "--charge", "120.50", "--warranty", "90")
	if err != nil {
		p.drop(u)
	}
	u.open = err != nil
	return err == nil, err
}

// correctNote corrects an own note, or another bench's, which may not have come yet
// or be corrected there too.
func correctNote(p *person) (bool, error) {
	tag, entry := p.s.shared(p.r)
	if tag == "" {
		return false, nil
	}
	_, _, err := p.action("correct", tag, entry, "--set", "text=dial cord renewed, "+p.mark(), "--why", "slip of the pen")
	var ended *exited
	if errors.As(err, &ended) && (ended.code == 3 || strings.Contains(ended.words, "no entry of")) {
		return false, nil // it, or its unit, has not come here yet
	}
	return err == nil, err
}

func withdrawOrRestore(p *person) (bool, error) {
	u := p.some(func(u *unit) bool { return len(u.notes)+len(u.back) > 0 })
	if u == nil {
		return false, nil
	}
	do, from, to := "withdraw", &u.notes, &u.back
	if len(*from) == 0 {
		do, from, to = "restore", &u.back, &u.notes
	}
	entry := (*from)[0]
	_, _, err := p.action(do, u.tag, entry, "--why", p.mark())
	if err != nil {
		p.drop(u)
		return false, err
	}
	*from, *to = (*from)[1:], append(*to, entry)
	return true, nil
}

// photo is a picture that no other is equal to.
func (p *person) photo() []byte {
	img := image.NewRGBA(image.Rect(0, 0, 240, 180))
	base := p.r.Uint32()
	for y := range 180 {
		for x := range 240 {
			img.Set(x, y, color.RGBA{uint8(base) + uint8(x), uint8(base>>8) + uint8(y), uint8(p.r.IntN(256)), 255})
		}
	}
	var b bytes.Buffer
	if err := jpeg.Encode(&b, img, nil); err != nil {
		panic(err) // a buffer takes all, and the picture is of a size that the format has
	}
	return b.Bytes()
}

// file writes a file that the person has, and gives what takes it away.
func (p *person) file(name string, content []byte) (path string, remove func(), err error) {
	path = filepath.Join(p.bench.files(), p.hand+"-"+name)
	return path, func() { _ = os.Remove(path) }, os.WriteFile(path, content, 0o600)
}

func photoByCommand(p *person) (bool, error) {
	u := p.some(anyUnit)
	if u == nil {
		return false, nil
	}
	path, remove, err := p.file("label.jpg", p.photo())
	if err != nil {
		return false, err
	}
	defer remove()
	_, _, err = p.action("attach", u.tag, path, "--what", "label")
	return err == nil, err
}

func askByCommand(p *person) (bool, error) {
	_, err := p.command(append([]string{"ask"}, pick(p, [][]string{{"rarity"}, {"failures", "--by", "model"}, {"turnaround"}, {"parts"}, {"outcomes"}, {"comebacks"}})...)...)
	return err == nil, err
}

// importBook reads a small old book in. Its rows are known by their marks.
func importBook(p *person) (bool, error) {
	var book strings.Builder
	book.WriteString("Received,Returned,Owner,Manufacturer,Model No.,S/N,Problem,Diagnosis,Price\n")
	var marks []string
	for range 3 + p.r.IntN(5) {
		u, mark := p.newUnit(), p.mark()
		marks = append(marks, mark)
		fmt.Fprintf(&book, "1997-01-%02d,1997-02-%02d,%s,%s,%s,%s,%s,filter caps leaky,94.00\n", 1+p.r.IntN(28), 1+p.r.IntN(28), p.customer(), u.maker, u.model, u.serial, "hum "+mark)
	}
	path, remove, err := p.file("book.csv", []byte(book.String()))
	if err != nil {
		return false, err
	}
	defer remove()
	defer os.Remove(path + ".map")
	if _, err = p.command("import", path); err == nil {
		for _, m := range marks {
			p.s.ledger.marked(p.bench.name, m)
		}
	}
	return err == nil, err
}

// bundleAcross carries what this bench has to another in a file, with its photos.
func bundleAcross(p *person) (bool, error) {
	path := filepath.Join(p.s.top, "stick-"+p.hand)
	defer os.RemoveAll(path + ".photos")
	defer os.Remove(path)
	if _, err := p.command("bundle", "write", path, "--photos"); err != nil {
		return false, err
	}
	to := p.s.benches[p.r.IntN(len(p.s.benches))]
	var err error
	before := to.mood()
	for range 20 {
		_, err = to.run(p.s.all, "bundle", "read", path, "--json")
		var ended *exited
		if !errors.As(err, &ended) || !strings.Contains(ended.words, "another oldhand fetches into it") {
			break
		}
		pause(p.s.all, time.Second) // as it says: when it is through
	}
	if err != nil && to.excused(before) {
		return false, errExcused
	}
	return err == nil, err
}

// settleOne settles a conflict, if there is one.
func settleOne(p *person) (bool, error) {
	out, err := p.command("conflicts")
	if err != nil {
		return false, err
	}
	var list []struct {
		Unit      string
		Conflicts []struct{ Fact string }
	}
	if err := json.Unmarshal(out, &list); err != nil {
		return false, fmt.Errorf("conflicts: %w: %s", err, out)
	}
	if len(list) == 0 {
		return false, nil
	}
	d := pick(p, list)
	_, _, err = p.action("settle", d.Unit, "--entry", d.Conflicts[0].Fact, "--keep", "1", "--why", "the later hand")
	var ended *exited
	if errors.As(err, &ended) && ended.code == 1 && strings.Contains(ended.words, "conflict") {
		return false, nil // another bench settled it meanwhile
	}
	return err == nil, err
}

// forgetOne forgets a customer, where the owner's key is.
func forgetOne(p *person) (bool, error) {
	if p.bench != p.s.benches[0] || len(p.names) < 3 {
		return false, nil
	}
	name := p.names[0]
	_, err := p.command("forget", name, "--yes")
	if err == nil {
		p.names = p.names[1:]
		p.s.ledger.forgotten(name)
	}
	return err == nil, err
}
