package projections

import (
	"encoding/binary"

	"oldhand/events"
)

// Classes of the l family: by what a unit can be found, besides the grams of
// its serials. They are part of the views' format.
const (
	bySerial   = 's' // key of a serial
	byTag      = 't' // tag
	byModel    = 'm' // key of the maker, zero, key of the model
	byOpen     = 'o' // day received, of a unit that stands on a bench
	byReceived = 'r' // day received, of each visit: fleet questions about some days
	byPerson   = 'p' // person's id
	byRow      = 'i' // key of an imported row's content
	byJob      = 'j' // key of a job's number in an old book, zero, day received
	byDispute  = 'd' // nothing, of a unit of which versions are in conflict
)

// termPrefix is what the keys of one way to find units begin with; behind it stands
// which unit. A text that holds zeros of its own (an id) has a fixed length, so
// nothing is ambiguous.
func termPrefix(class byte, text []byte) []byte {
	k := make([]byte, 0, 3+len(text)+16)
	return append(append(append(k, 'l', class), text...), 0)
}

// rootOf is the unit at the end of a key.
func rootOf(k []byte) (id events.UnitID, ok bool) {
	if len(k) < 16 {
		return id, false
	}
	copy(id[:], k[len(k)-16:])
	return id, true
}

// terms puts the keys under which a history is found into a list, without repeats.
func terms(h *History, to *rowList) {
	first := len(to.ends)
	add := func(k rowKey) {
		if k = append(k, h.Root[:]...); !to.has(first, k) {
			to.add(k)
		}
	}
	term := func(class byte, text string) rowKey { return to.key('l', class).text(text) }
	for _, s := range h.Serials {
		if key := events.Key(s); key != "" {
			add(term(bySerial, key))
			for _, g := range kept(key) {
				add(to.key('g', g[0], g[1], g[2]))
			}
		}
	}
	for _, t := range h.Tags {
		add(term(byTag, t))
	}
	for _, b := range bodies[events.Received](h.Withdrawn) {
		// The tag is still tied to the set, whatever was taken back.
		if b.Tag != "" {
			add(term(byTag, b.Tag))
		}
	}
	if len(h.Visits) > 0 {
		add(term(byModel, events.Key(h.Maker)).text(events.Key(h.Model)))
	}
	if len(h.Conflicts) > 0 {
		add(term(byDispute, ""))
	}
	if v := h.OpenVisit(); v != nil {
		add(to.key('l', byOpen).num(int(v.day())).byte(0))
	}
	for _, v := range h.Visits {
		add(to.key('l', byReceived).num(int(v.day())).byte(0))
		if !v.Person.IsZero() {
			add(append(to.key('l', byPerson), v.Person[:]...).byte(0))
		}
		for _, b := range bodies[events.RowImported](v.Entries) {
			add(append(to.key('l', byRow), b.Key[:]...).byte(0))
			if job := b.Kept["job"]; job != "" {
				add(term(byJob, events.Key(job)).num(int(v.day())).byte(0))
			}
		}
	}
}

func modelText(maker, model string) []byte {
	return append(append([]byte(events.Key(maker)), 0), events.Key(model)...)
}

func jobText(job string, d events.Day) []byte {
	return append(append([]byte(events.Key(job)), 0), dayText(d)...)
}

func dayText(d events.Day) []byte {
	return binary.BigEndian.AppendUint32(nil, uint32(d+dayZero))
}

// gram is three bytes of a serial's key, or of its two ends with a mark.
type gram [3]byte

// kept are the pieces a serial is found by when it is not remembered or typed
// right: every second three neighbours of it between its two ends. Each costs
// a key, and every second is enough: a fragment of four has a kept piece in
// it, and a slip, which spoils three neighbours, spoils two kept ones.
func kept(key string) []gram { return every(key, 2) }

// sought are all pieces of what was typed, since a letter too few or too many
// moves those behind it.
func sought(key string) []gram { return every(key, 1) }

func every(key string, step int) []gram {
	padded := "^" + key + "$"
	gs := make([]gram, 0, len(padded)/step)
	for i := 0; i+3 <= len(padded); i += step {
		gs = append(gs, gram([]byte(padded[i:i+3])))
	}
	return gs
}

// gramPrefix is what the keys of units with a piece in their serial begin with.
func gramPrefix(g gram) []byte { return append(make([]byte, 0, 4), 'g', g[0], g[1], g[2]) }
