package demo

import (
	"strconv"

	"oldhand/events"
)

// Invented names. A name is drawn first and last by itself, so that two people
// of one name in two places occur, as they do.
var (
	firstNames = []string{"Agnes", "Barnaby", "Corin", "Delphine", "Emeric", "Flora", "Gideon", "Hester", "Isolde", "Jarvis", "Kester", "Linnea",
		"Magnus", "Nell", "Orrin", "Perpetua", "Quentin", "Rosamund", "Silas", "Tamsin", "Ursel", "Viggo", "Wilma", "Yorick"}
	lastNames = []string{"Ashgrave", "Brindlow", "Cottersley", "Dunnockby", "Everleigh", "Fallowden", "Gantrell", "Hollinside", "Inkpenny",
		"Kettlebrook", "Lambsdown", "Marrowick", "Nettlefield", "Oxenby", "Pruettman", "Quarlesby", "Ravensclough", "Sallowby", "Thistledon",
		"Underwell", "Vawdreyson", "Wexcombe", "Yelderton"}
	towns = []string{"Alder Fork", "Briar Landing", "Cinder Gap", "Dovecote Mills", "Elk Narrows", "Gullet Point", "Heron Slough",
		"Juniper Weir", "Knapwell Junction", "Larkmere", "Nine Culverts", "Ossel Creek"}
	streets = []string{"Sawpit Lane", "Orchard Row", "Ferry Street", "Tollgate Road", "Millrace Avenue", "Chapel Steps", "Depot Street", "Willow Cut"}
	// carriers bring the sets; the last of them takes none away.
	carriers = []string{"Quickstile Parcel", "Brackwater Freight", "Long Meadow Express", "owner"}
)

// somebody is a customer. The telephone numbers are of the hundred that no
// exchange gives out, and the domain is one that RFC 2606 keeps for examples.
func somebody(d dice) events.Personal {
	first, last := pick(d, firstNames), pick(d, lastNames)
	p := events.Personal{Name: first + " " + last, City: pick(d, towns), Address: strconv.Itoa(d.between(1, 399)) + " " + pick(d, streets)}
	if d.chance(700) {
		p.Phone = "555-01" + strconv.Itoa(d.between(10, 99))
	}
	if d.chance(400) {
		p.Email = first + "." + last + "@example.org"
	}
	return p
}

// record writes a new customer into an action and gives the person's id.
func (e *entry) record(p events.Personal) (id events.PersonID) {
	var key events.PersonKey
	var nonce [24]byte
	for _, b := range [][]byte{id[:], key[:], nonce[:]} {
		e.teller.dice.fill(b)
	}
	sealed, err := p.Seal(id, key, nonce)
	if err != nil {
		e.teller.fail(err)
		return id
	}
	if e.action.Keys == nil {
		e.action.Keys = map[events.PersonID]events.PersonKey{}
	}
	e.action.Keys[id] = key
	e.add(events.Draft{About: id, Body: sealed})
	return id
}

// customers remembers the last few people, some of whom bring a second set.
type customers struct {
	recent [64]events.PersonID
	n      int
}

func (c *customers) remember(id events.PersonID) {
	c.recent[c.n%len(c.recent)] = id
	c.n++
}

// customer is who brings a set: now and then somebody known.
func (e *entry) customer() events.PersonID {
	c, d := &e.teller.customers, e.teller.dice
	if known := min(c.n, len(c.recent)); known > 0 && d.chance(120) {
		return c.recent[d.below(known)]
	}
	id := e.record(somebody(d))
	c.remember(id)
	return id
}

// by is who writes at a bench on a day: whoever works there, and now and
// then another.
func (b *bench) by(d dice, day events.Day) string {
	names := b.people
	i := int((day - firstDay) * 2 / (lastDay - firstDay + 1))
	if d.chance(100) {
		i = d.below(len(names))
	}
	return names[i]
}
