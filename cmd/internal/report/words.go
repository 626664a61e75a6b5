package report

import (
	"fmt"
	"strings"

	"oldhand/events"
)

// What the terminal, the page and the paper say alike stands here.

// Fact is a short thing with its name.
type Fact struct{ Name, Value string }

// Title is what the record is of.
func (r *Record) Title() string {
	if t := strings.TrimSpace(r.Unit.Maker + " " + r.Unit.Model); t != "" {
		return t
	}
	return orElse(r.Unit.Kind, "maker and model not known")
}

// Facts are the unit's and the visit's.
func (r *Record) Facts() []Fact {
	list := []Fact{{"for", r.Customer}, {"serial", orElse(r.Unit.Serial, "not known")}, {"kind of set", r.Unit.Kind}, {"made", r.made()},
		{"received", dayWords(r.Received)}, {"shipped", r.shipped()}, {"outcome", r.outcome()}, {"visit", r.visit()}}
	if len(r.Waits) > 0 {
		list = append(list, Fact{"it waited", strings.Join(r.Waits, ", ")})
	}
	if len(r.Contact) > 0 {
		list = append(list, Fact{"at", strings.Join(r.Contact, ", ")})
	}
	kept := list[:0]
	for _, f := range list {
		if f.Value != "" {
			kept = append(kept, f)
		}
	}
	return kept
}

func (r *Record) made() string {
	if r.Unit.Made == "" {
		return "year not known"
	}
	return r.Unit.Made + ", " + r.Unit.MadeBy
}

func (r *Record) shipped() string {
	if r.Open() {
		return "not yet"
	}
	s := dayWords(r.Shipped)
	if r.Days != nil {
		s += ", after " + events.Count(*r.Days, "day")
	}
	if r.Carrier != "" {
		s += ", by " + r.Carrier
	}
	return s
}

func (r *Record) outcome() string {
	if r.Open() {
		return "still on the bench"
	}
	return r.Outcome
}

func (r *Record) visit() string {
	if r.Of == 1 {
		return "the first"
	}
	return fmt.Sprintf("%d of %d", r.Visit, r.Of)
}

// CameWith is how it was received, besides the complaint.
func (r *Record) CameWith() []Fact {
	var list []Fact
	if r.Condition != "" {
		list = append(list, Fact{"condition", r.Condition})
	}
	if r.Accessories != "" {
		list = append(list, Fact{"came with", r.Accessories})
	}
	return list
}

// Verdict is the last final test in a sentence; empty where there was none.
func (r *Record) Verdict() string { return r.Test.Words() }

// Words are a test in a sentence; of none nothing.
func (t *Test) Words() string {
	if t == nil {
		return ""
	}
	s := t.Verdict + ", " + dayWords(t.At)
	if t.Sheet != "" {
		off := "none off"
		if t.Within < t.Made {
			off = fmt.Sprintf("%d off or not judged", t.Made-t.Within)
		}
		s += fmt.Sprintf(", by the sheet %s: %d of %s made, %s", t.Sheet, t.Made, events.Count(t.Checks, "check"), off)
	}
	if t.Text != "" {
		s += ": " + t.Text
	}
	return s
}

// Money is what is written down of price and warranty, in sentences.
func (r *Record) Money() []string {
	var list []string
	switch {
	case r.WarrantyDays > 0 && r.WarrantyTill != "":
		list = append(list, fmt.Sprintf("Warranty: %s, until %s.", events.Count(r.WarrantyDays, "day"), r.WarrantyTill))
	case r.WarrantyDays > 0:
		list = append(list, fmt.Sprintf("Warranty: %s from the day it was shipped.", events.Count(r.WarrantyDays, "day")))
	case !r.Open():
		list = append(list, "No warranty is written down.")
	}
	for _, e := range r.Estimates {
		list = append(list, sentence(e.Line))
	}
	switch {
	case r.Charge != "":
		list = append(list, "Charge: "+r.Charge+".")
	case !r.Open():
		list = append(list, "No charge is written down.")
	}
	if r.Parting != "" {
		list = append(list, sentence(r.Parting))
	}
	return list
}

// About says how far the record can be relied on.
func (r *Record) About() []string {
	list := []string{NoCertificate}
	if r.Corrected > 0 {
		list = append(list, fmt.Sprintf("%s corrected after it was written; what stands is shown.", events.Count(r.Corrected, "entry was", "entries were")))
	}
	if r.TakenBack > 0 {
		list = append(list, fmt.Sprintf("%s taken back and not shown.", events.Count(r.TakenBack, "entry was", "entries were")))
	}
	if r.Unread > 0 {
		list = append(list, fmt.Sprintf("%s made by a newer version of the shop's program and can't be shown here.", events.Count(r.Unread, "entry was", "entries were")))
	}
	if r.NotesLeft > 0 {
		list = append(list, fmt.Sprintf("%s not on this record.", events.Count(r.NotesLeft, "note of the shop's own is", "notes of the shop's own are")))
	}
	if r.Kept != "" {
		list = append(list, "Kept with this visit: "+r.Kept+".")
	}
	return append(list, "Written down last on "+r.Recorded.Format("2006-01-02")+"; all of it stands in the shop's book under "+r.Where()+".")
}

// Where is under what the shop finds the visit.
func (r *Record) Where() string {
	name := "tag " + r.Unit.Tag
	if r.Unit.Tag == "" {
		name = "serial " + orElse(r.Unit.Serial, r.Unit.ID)
	}
	return fmt.Sprintf("%s, visit %d", name, r.Visit)
}

// Disputed are facts that are not settled, in sentences.
func (r *Record) Disputed() []string {
	var list []string
	for _, c := range r.Conflicts {
		list = append(list, fmt.Sprintf("Two benches wrote this down differently, and it is not settled. Shown here: %s. The other: %s.", version(c.Shown), version(c.Others...)))
	}
	return list
}

// version is what a correction says, without that it is one.
func version(lines ...string) string {
	said := make([]string, len(lines))
	for i, l := range lines {
		said[i] = strings.TrimPrefix(l, "corrected to ")
	}
	return strings.Join(said, "; ")
}

// HasSafety reports whether a reading is about what a set lets through.
func (r *Record) HasSafety() bool {
	for _, p := range r.Readings {
		if p.Safety {
			return true
		}
	}
	return false
}

// Unsaid reports whether a reading does not say if it was before or after.
func (r *Record) Unsaid() bool {
	for _, p := range r.Readings {
		if p.Read != "" {
			return true
		}
	}
	return false
}

// OnlyReadings stands beside readings of safety.
const OnlyReadings = "These are readings with the limits that were used. They do not declare the set safe."

func dayWords(day string) string {
	if day == "unknown" {
		return "on a day nobody wrote down"
	}
	return day
}

// sentence begins with a capital and ends with a full stop.
func sentence(s string) string {
	s = strings.TrimSpace(s)
	if s == "" {
		return s
	}
	first := []rune(s)[0]
	s = strings.ToUpper(string(first)) + s[len(string(first)):]
	if strings.ContainsRune(".!?", rune(s[len(s)-1])) {
		return s
	}
	return s + "."
}

func orElse(s, other string) string {
	if s != "" {
		return s
	}
	return other
}

// joined puts what is not empty together.
func joined(sep string, words ...string) string {
	var kept []string
	for _, w := range words {
		if w != "" {
			kept = append(kept, w)
		}
	}
	return strings.Join(kept, sep)
}

// OutWords and InWords are a part as printed on it, and as read.
func (p Part) OutWords() string { return markingWords(p.Out, p.OutRead) }

// InWords is the part that went in.
func (p Part) InWords() string { return markingWords(p.In, p.InRead) }

func markingWords(text, read string) string {
	switch {
	case read == "" || sameMarking(text, read):
		return text
	case text == "":
		return read
	}
	return text + " (" + read + ")"
}

// sameMarking reports whether a reading says no more than the marking does.
func sameMarking(text, read string) bool {
	plain := func(s string) string { return strings.ToLower(strings.NewReplacer(" ", "", ",", "").Replace(s)) }
	return plain(text) == plain(read)
}
