package projections

import (
	"oldhand/events"
)

// bytes is the history as it is kept.
func (h *History) bytes() []byte {
	w := &writer{append(make([]byte, 0, 1024), isHistory)}
	writeList(w, h.Members, func(id events.UnitID) { w.id(id) })
	for _, s := range []string{h.Maker, h.Model, h.Serial, h.KindOfSet} {
		w.text(s)
	}
	w.uint(uint64(h.YearFrom))
	w.uint(uint64(h.YearTo))
	writeList(w, h.Tags, w.text)
	writeList(w, h.Serials, w.text)
	writeList(w, h.Visits, func(v Visit) { writeVisit(w, v, h.Root) })
	for _, list := range [][]Entry{h.Loose, h.Joins, h.Withdrawn} {
		writeList(w, list, func(e Entry) { writeEntry(w, e, h.Root, events.VisitID{}) })
	}
	writeList(w, h.Conflicts, func(c Conflict) {
		w.id(c.Fact)
		writeList(w, c.Versions, func(id events.EventID) { w.id(id) })
	})
	writeList(w, h.Apart, func(id events.UnitID) { w.id(id) })
	w.flag(h.Tangled)
	w.int(int64(h.last.day))
	w.id(h.last.id)
	return w.b
}

func writeList[T any](w *writer, list []T, one func(T)) {
	w.uint(uint64(len(list)))
	for _, v := range list {
		one(v)
	}
}

func writeVisit(w *writer, v Visit, root events.UnitID) {
	w.id(v.ID)
	writeList(w, v.Also, func(id events.VisitID) { w.id(id) })
	w.when(v.Received)
	w.flag(!v.Person.IsZero())
	if !v.Person.IsZero() {
		w.id(v.Person)
	}
	w.b = append(w.b, byte(v.End))
	w.when(v.Shipped)
	writeList(w, v.Entries, func(e Entry) { writeEntry(w, e, root, v.ID) })
}

// What an entry says that its place does not say already.
const (
	hasRevision = 1 << iota
	hasVisit
	hasBy
	hasVersion
	hasAbout  // it is about another id than the history stands under
	isOfVisit // it names the visit that it stands in
)

func writeEntry(w *writer, e Entry, root events.UnitID, in events.VisitID) {
	var has byte
	has |= choose[byte](e.Shown != e.ID, hasRevision, 0)
	has |= choose[byte](e.By != "", hasBy, 0)
	has |= choose[byte](e.Version != 1, hasVersion, 0)
	has |= choose[byte](e.About != root, hasAbout, 0)
	switch e.Visit {
	case events.VisitID{}:
	case in:
		has |= isOfVisit
	default:
		has |= hasVisit
	}
	w.b = append(w.b, has)
	w.id(e.ID)
	w.uint(uint64(e.Kind))
	w.when(e.At)
	if has&hasAbout != 0 {
		w.id(e.About)
	}
	if has&hasRevision != 0 {
		w.id(e.Shown)
	}
	if has&hasVisit != 0 {
		w.id(e.Visit)
	}
	if has&hasBy != 0 {
		w.text(e.By)
	}
	if has&hasVersion != 0 {
		w.uint(uint64(e.Version))
	}
	w.bytes(e.Body)
}

// readHistory reads what bytes wrote; the history shares its memory.
func readHistory(b []byte) (*History, error) {
	if len(b) == 0 || b[0] != isHistory {
		return nil, errView
	}
	r := &reader{b: b[1:]}
	h := &History{}
	h.Members = readList(r, func() events.UnitID { return r.id() })
	h.Maker, h.Model, h.Serial, h.KindOfSet = r.text(), r.text(), r.text(), r.text()
	h.YearFrom, h.YearTo = int(r.uint()), int(r.uint())
	h.Tags = readList(r, r.text)
	h.Serials = readList(r, r.text)
	if len(h.Members) == 0 {
		return nil, errView
	}
	h.Root = h.Members[0]
	h.Visits = readList(r, func() Visit { return readVisit(r, h.Root) })
	for _, list := range []*[]Entry{&h.Loose, &h.Joins, &h.Withdrawn} {
		*list = readList(r, func() Entry { return readEntry(r, h.Root, events.VisitID{}) })
	}
	h.Conflicts = readList(r, func() Conflict {
		return Conflict{r.id(), readList(r, func() events.EventID { return r.id() })}
	})
	h.Apart = readList(r, func() events.UnitID { return r.id() })
	h.Tangled = r.flag()
	h.last = place{events.Day(r.int()), r.id()}
	if r.bad || len(r.b) > 0 {
		return nil, errView
	}
	return h, nil
}

func readList[T any](r *reader, one func() T) []T {
	n := r.length()
	if n == 0 {
		return nil
	}
	list := make([]T, 0, n)
	for range n {
		if r.bad {
			return nil
		}
		list = append(list, one())
	}
	return list
}

func readVisit(r *reader, root events.UnitID) (v Visit) {
	v.ID = r.id()
	v.Also = readList(r, func() events.VisitID { return r.id() })
	v.Received = r.when()
	if r.flag() {
		v.Person = r.id()
	}
	if e := r.fixed(1); len(e) == 1 {
		v.End = End(e[0])
	}
	v.Shipped = r.when()
	v.Entries = readList(r, func() Entry { return readEntry(r, root, v.ID) })
	return v
}

func readEntry(r *reader, root events.UnitID, in events.VisitID) (e Entry) {
	var has byte
	if b := r.fixed(1); len(b) == 1 {
		has = b[0]
	}
	e.ID = r.id()
	e.Kind = events.Kind(r.uint())
	e.At = r.when()
	e.About, e.Shown, e.Version = root, e.ID, 1
	if has&hasAbout != 0 {
		e.About = r.id()
	}
	if has&hasRevision != 0 {
		e.Shown = r.id()
	}
	switch {
	case has&hasVisit != 0:
		e.Visit = r.id()
	case has&isOfVisit != 0:
		e.Visit = in
	}
	if has&hasBy != 0 {
		e.By = r.text()
	}
	if has&hasVersion != 0 {
		e.Version = uint(r.uint())
	}
	e.Body = r.bytes()
	return e
}
