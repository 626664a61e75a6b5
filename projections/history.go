package projections

import (
	"bytes"
	"cmp"
	"iter"
	"slices"

	"oldhand/events"
	"oldhand/events/tag"
)

// History is what is known of one physical unit: the fold of all facts about
// it that stand.
type History struct {
	Root    events.UnitID
	Members []events.UnitID // all ids it goes by, smallest first; Root is the first

	// What it is, as last identified, or as it claimed at intake.
	Maker, Model, Serial string
	KindOfSet            string
	YearFrom, YearTo     int // year made; zero is unknown
	Tags                 []string
	Serials              []string // every spelling that was typed

	Visits []Visit
	Loose  []Entry // facts from before any visit
	Joins  []Entry // what said that ids are, or are not, this unit

	Withdrawn []Entry // facts taken back
	Conflicts []Conflict
	Apart     []events.UnitID // units said not to be this one

	// Tangled is set where an event that arrives could change more than it adds:
	// something was corrected or taken back, or names a visit that is not here.
	// Such a history is folded from its events again.
	Tangled bool
	last    place
	room    int // for the facts of a visit, while folding
}

// Visit is one stay in the shop.
type Visit struct {
	ID       events.VisitID
	Also     []events.VisitID // further intakes on the same day: it was entered twice
	Received events.When
	Person   events.PersonID
	End      End
	Shipped  events.When // set where End is Ended
	Entries  []Entry     // in order, the intake first
}

// End says whether and how a visit ended.
type End uint8

const (
	Open       End = iota
	Ended          // shipped, on a day that is known or not
	EndUnknown     // received again later without ever being shipped: it left on a day nobody wrote down
)

// Entry is one fact in its place in a history.
type Entry struct {
	ID      events.EventID // as first recorded: what a correction would name
	Shown   events.EventID // the event whose version of it stands
	Kind    events.Kind
	Version uint
	About   events.UnitID
	Visit   events.VisitID // as named; zero where its day decides
	At      events.When
	By      string
	Body    events.RawBody

	decoded events.Body // of Body, once it was asked for
}

// Conflict is versions of one fact that did not see each other.
type Conflict struct {
	Fact     events.EventID
	Versions []events.EventID // the one shown first
}

// Line is the entry's line in a history.
func (e Entry) Line() string { return events.Line(e.Kind, e.Version, e.Body) }

// Decode reads the entry's body, nil where it can't be read here.
func (e Entry) Decode() events.Body {
	if e.decoded != nil {
		return e.decoded
	}
	b, err := events.DecodeBody(e.Kind, e.Version, e.Body)
	if err != nil {
		return nil
	}
	return b
}

// bodies are the entries of one kind that can be read, and their bodies. All
// questions read the same few kinds: no body is decoded twice, and none of a
// kind that nobody asks for.
func bodies[B events.Body](entries []Entry) iter.Seq2[*Entry, B] {
	var kind B
	return func(yield func(*Entry, B) bool) {
		for i := range entries {
			e := &entries[i]
			if e.Kind != kind.Kind() {
				continue
			}
			e.decoded = e.Decode()
			if b, ok := e.decoded.(B); ok && !yield(e, b) {
				return
			}
		}
	}
}

// place is where a fact stands in the order of a unit's facts.
type place struct {
	day events.Day
	id  events.EventID
}

func (p place) compare(o place) int {
	if p.day != o.day {
		return cmp.Compare(p.day, o.day)
	}
	return p.id.Compare(o.id)
}

// placeOf puts a fact of unknown time on the day it was recorded on.
func placeOf(id events.EventID, at events.When) place {
	if at.Precision == events.Unknown {
		return place{events.DayOf(id.Stamp().Time()), id}
	}
	return place{at.Day, id}
}

func (e Entry) place() place { return placeOf(e.ID, e.At) }

// compare puts entries in the order of a history. Beyond their places it only
// decides where a dishonest bench wrote two events under one id.
func (e Entry) compare(o Entry) int {
	if c := e.place().compare(o.place()); c != 0 {
		return c
	}
	return cmp.Or(e.About.Compare(o.About), e.Shown.Compare(o.Shown),
		cmp.Compare(e.Kind, o.Kind), cmp.Compare(e.Version, o.Version), bytes.Compare(e.Visit[:], o.Visit[:]),
		cmp.Compare(e.By, o.By), bytes.Compare(e.Body, o.Body), cmp.Compare(e.At.String(), o.At.String()))
}

// fold makes the history of one unit from the standing facts about its ids.
func fold(members []events.UnitID, facts []Entry) *History {
	h := &History{Root: members[0], Members: members}
	if !slices.IsSortedFunc(facts, Entry.compare) {
		slices.SortFunc(facts, Entry.compare)
	}
	h.room = min(len(facts), mostRoom)
	later := visitsIn(facts)
	waiting := map[events.VisitID][]Entry{}
	for _, e := range facts {
		if e.Kind != events.KindReceived && !e.Visit.IsZero() && h.visit(e.Visit) == nil && later[e.Visit] {
			waiting[e.Visit] = append(waiting[e.Visit], e)
			continue
		}
		h.apply(e)
		if e.Kind != events.KindReceived {
			continue
		}
		for _, early := range waiting[events.VisitID(e.ID)] {
			h.apply(early)
		}
		h.last = e.place()
	}
	return h
}

// mostRoom bounds what is laid out for a visit's facts before they come.
const mostRoom = 64

// visitsIn are the visits that the facts begin, so that a fact dated before
// its own visit can wait for it.
func visitsIn(facts []Entry) map[events.VisitID]bool {
	visits := map[events.VisitID]bool{}
	for _, e := range facts {
		if e.Kind == events.KindReceived {
			visits[events.VisitID(e.ID)] = true
		}
	}
	return visits
}

// follows reports whether a fact can be added to a history as it is: it comes
// last in the order, and all that it names is there.
func (h *History) follows(e Entry) bool {
	return !h.Tangled && e.place().compare(h.last) > 0 && !h.has(e.ID) &&
		(e.Kind == events.KindReceived || e.Visit.IsZero() || h.visit(e.Visit) != nil)
}

// has reports whether a fact is in the history under the id.
func (h *History) has(id events.EventID) bool {
	same := func(e Entry) bool { return e.ID == id }
	for _, v := range h.Visits {
		if slices.ContainsFunc(v.Entries, same) {
			return true
		}
	}
	return slices.ContainsFunc(h.Loose, same) || slices.ContainsFunc(h.Joins, same) || slices.ContainsFunc(h.Withdrawn, same)
}

// apply adds the next fact in order.
func (h *History) apply(e Entry) {
	h.last = e.place()
	switch e.Kind {
	case events.KindReceived:
		if b, ok := e.Decode().(events.Received); ok {
			h.receive(e, b)
			return
		}
	case events.KindSameUnit, events.KindNotSameUnit:
		h.Joins = append(h.Joins, e)
		return
	case events.KindIdentified:
		if b, ok := e.Decode().(events.Identified); ok {
			h.identify(b)
		}
	}
	v := h.visitOf(e)
	if v == nil {
		h.Loose = append(h.Loose, e)
		return
	}
	v.Entries = append(v.Entries, e)
	if e.Kind == events.KindShipped {
		v.End, v.Shipped = Ended, e.At
	}
}

// receive begins a visit. A visit that is still open then ended on a day
// nobody wrote down; but two intakes on one day are one visit entered twice.
func (h *History) receive(e Entry, b events.Received) {
	h.claim(b)
	if v := h.lastVisit(); v != nil && v.End == Open {
		if placeOf(events.EventID(v.ID), v.Received).day == e.place().day {
			v.Also = append(v.Also, events.VisitID(e.ID))
			v.Entries = append(v.Entries, e)
			v.Person = choose(v.Person.IsZero(), b.Person, v.Person)
			return
		}
		v.End = EndUnknown
	}
	h.Visits = append(h.Visits, Visit{ID: events.VisitID(e.ID), Received: e.At, Person: b.Person, Entries: append(make([]Entry, 0, h.room), e)})
}

// claim takes from an intake what is not known yet.
func (h *History) claim(b events.Received) {
	fill(&h.Maker, b.Maker)
	fill(&h.Model, b.Model)
	fill(&h.Serial, b.Serial)
	fill(&h.KindOfSet, b.KindOfSet)
	if h.YearFrom == 0 {
		h.YearFrom, h.YearTo = b.YearFrom, b.YearTo
	}
	if isTag(b.Tag) {
		addNew(&h.Tags, b.Tag)
	}
	addNew(&h.Serials, b.Serial)
}

// isTag reports whether a text is a number that benches give. By another one no unit can
// be looked up, so a unit that has no better is as one without a tag.
func isTag(text string) bool {
	_, _, err := tag.Split(text)
	return err == nil
}

// identify takes from an identification all that it says.
func (h *History) identify(b events.Identified) {
	say(&h.Maker, b.Maker)
	say(&h.Model, b.Model)
	say(&h.Serial, b.Serial)
	say(&h.KindOfSet, b.KindOfSet)
	if b.YearFrom != 0 {
		h.YearFrom, h.YearTo = b.YearFrom, b.YearTo
	}
	addNew(&h.Serials, b.Serial)
}

func fill(have *string, said string) {
	if *have == "" {
		*have = said
	}
}

func say(have *string, said string) {
	if said != "" {
		*have = said
	}
}

func addNew(list *[]string, s string) {
	if s != "" && !slices.Contains(*list, s) {
		*list = append(*list, s)
	}
}

// visitOf is the visit a fact belongs to: the one it names, or, where it names
// none, the last that began. One whose visit is not here, or was taken back,
// belongs to none: in another it would change what that one came to.
func (h *History) visitOf(e Entry) *Visit {
	if e.Visit.IsZero() {
		return h.lastVisit()
	}
	v := h.visit(e.Visit)
	h.Tangled = h.Tangled || v == nil
	return v
}

func (h *History) visit(id events.VisitID) *Visit {
	for i := range h.Visits {
		if v := &h.Visits[i]; v.ID == id || slices.Contains(v.Also, id) {
			return v
		}
	}
	return nil
}

func (h *History) lastVisit() *Visit {
	if len(h.Visits) == 0 {
		return nil
	}
	return &h.Visits[len(h.Visits)-1]
}

// OpenVisit is the visit that stands on a bench, or nil.
func (h *History) OpenVisit() *Visit {
	if v := h.lastVisit(); v != nil && v.End == Open {
		return v
	}
	return nil
}
