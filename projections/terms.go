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

// termKey is the key of one way to find one unit. A text that holds zeros of
// its own (an id) has a fixed length, so nothing is ambiguous.
func termKey(class byte, text []byte, root events.UnitID) []byte {
	return append(termPrefix(class, text), root[:]...)
}

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

// terms are the keys under which a history is found, without repeats.
func terms(h *History) [][]byte {
	var keys [][]byte
	add := func(k []byte) {
		for _, have := range keys {
			if string(have) == string(k) {
				return
			}
		}
		keys = append(keys, k)
	}
	for _, s := range h.Serials {
		if key := events.Key(s); key != "" {
			add(termKey(bySerial, []byte(key), h.Root))
			for _, g := range kept(key) {
				add(gramKey(g, h.Root))
			}
		}
	}
	for _, t := range h.Tags {
		add(termKey(byTag, []byte(t), h.Root))
	}
	for _, b := range bodies[events.Received](h.Withdrawn) {
		// The tag is still tied to the set, whatever was taken back.
		if b.Tag != "" {
			add(termKey(byTag, []byte(b.Tag), h.Root))
		}
	}
	if len(h.Visits) > 0 {
		add(termKey(byModel, modelText(h.Maker, h.Model), h.Root))
	}
	if len(h.Conflicts) > 0 {
		add(termKey(byDispute, nil, h.Root))
	}
	if v := h.OpenVisit(); v != nil {
		add(termKey(byOpen, dayText(placeOf(events.EventID(v.ID), v.Received).day), h.Root))
	}
	for _, v := range h.Visits {
		add(termKey(byReceived, dayText(v.day()), h.Root))
		if !v.Person.IsZero() {
			add(termKey(byPerson, v.Person[:], h.Root))
		}
		for _, b := range bodies[events.RowImported](v.Entries) {
			add(termKey(byRow, b.Key[:], h.Root))
			if job := b.Kept["job"]; job != "" {
				add(termKey(byJob, jobText(job, v.day()), h.Root))
			}
		}
	}
	return keys
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

func gramKey(g gram, root events.UnitID) []byte {
	return append(append(append(make([]byte, 0, 20), 'g'), g[:]...), root[:]...)
}
