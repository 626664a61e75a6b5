package app

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
	"oldhand/sync/keyring"
)

// Forget says which customer is to be forgotten.
type Forget struct {
	Who string // words of the name, the phone number, the mail address, or the id
	Do  bool   // else it is only looked who that is
}

// Forgotten is who was forgotten, or would be.
type Forgotten struct {
	Customer
	Done   bool       `json:"done"`
	Units  []string   `json:"units"`     // tags; what was done to them stays
	Others []Customer `json:"same_name"` // recorded apart, perhaps the same person
	Limits []string   `json:"limits"`    // what this does not reach
}

// Customer is one customer as far as known here.
type Customer struct {
	ID     string `json:"id"`
	Name   string `json:"name"`
	City   string `json:"city,omitempty"`
	Phone  string `json:"phone,omitempty"`
	Visits int    `json:"visits"`
}

func (c Customer) String() string {
	words := []string{c.Name}
	for _, w := range []string{c.City, c.Phone, events.Count(c.Visits, "visit")} {
		if w != "" {
			words = append(words, w)
		}
	}
	return c.ID + "  " + strings.Join(words, ", ")
}

// forgetLimits are said whenever somebody is forgotten.
var forgetLimits = []string{
	"a bench that is off keeps its copy until it meets the others",
	"bundles, backups, printouts and exports with keys that were made before keep theirs; an old backup that is put back brings the name back until that bench meets the others",
	"a disk may hold the bytes of deleted files for a while",
	"what was repaired stays, and a serial or a date can still point to a person",
	"a name that somebody wrote into a note or a complaint is not found by this: look through the units above, and correct what you find",
}

// Forget has a customer forgotten, on this bench at once and on every other when
// it hears of it: the key of what is known of the person is dropped, so that it
// opens nowhere, and never taken again. What was done to the person's sets stays.
func (s *Shop) Forget(o Forget) (res Forgotten, err error) {
	owner, err := s.ownerKey()
	if errors.Is(err, fs.ErrNotExist) {
		return res, &NotHere{"the owner's key", "is not in this folder; do this on the bench that has it"}
	}
	if err != nil {
		return res, err
	}
	var person events.PersonID
	if err := s.view(func(v *eventlog.View) error {
		person, res, err = whoIs(v, o.Who)
		return err
	}); err != nil || !o.Do {
		return res, err
	}
	order, err := owner.Forget(s.Log.Shop(), person)
	if err != nil {
		return res, err
	}
	r, err := s.Roster()
	if err != nil {
		return res, err
	}
	if err := r.OwnerSigned(events.ForgetStatement(s.Log.Shop(), person), order[:]); err != nil {
		return res, fmt.Errorf("the owner's key in this folder: %w", err)
	}
	err = s.act(func(tx *eventlog.Tx) error {
		if _, err := tx.Add(events.Draft{About: person, At: s.when(Who{}), Body: events.PersonForgotten{Signature: order[:]}}); err != nil {
			return err
		}
		return tx.KeepPerson(events.KeyEntry{Person: person, Order: order})
	})
	if err != nil {
		return res, err
	}
	res.Done, res.Customer = true, Customer{ID: res.ID, Visits: res.Visits}
	return res, s.scour()
}

// whoIs finds the one customer that is meant.
func whoIs(v *eventlog.View, typed string) (id events.PersonID, res Forgotten, err error) {
	if strings.TrimSpace(typed) == "" {
		return id, res, &Wrong{"the customer", "give a name, a phone number or a mail address"}
	}
	known := map[events.PersonID]events.Personal{}
	var meant []events.PersonID
	err = projections.EachPerson(v, v, func(p events.PersonID, what events.Personal) (bool, error) {
		known[p] = what
		if isMeant(p, what, typed) {
			meant = append(meant, p)
		}
		return true, nil
	})
	if err != nil {
		return id, res, err
	}
	if len(meant) != 1 {
		return id, res, notOne(v, typed, meant, known)
	}
	id = meant[0]
	res = Forgotten{Units: []string{}, Others: []Customer{}, Limits: forgetLimits}
	if res.Customer, res.Units, err = customerOf(v, id, known[id]); err != nil {
		return id, res, err
	}
	for p, what := range known {
		if p != id && events.Key(what.Name) == events.Key(known[id].Name) && what.Name != "" {
			other, _, err := customerOf(v, p, what)
			if err != nil {
				return id, res, err
			}
			res.Others = append(res.Others, other)
		}
	}
	slices.SortFunc(res.Others, func(a, b Customer) int { return strings.Compare(a.ID, b.ID) })
	return id, res, nil
}

// isMeant reports whether a customer has every word of what was typed in the
// name, or is named by number, mail address or id.
func isMeant(p events.PersonID, what events.Personal, typed string) bool {
	typed = strings.TrimSpace(typed)
	if typed == p.String() || strings.EqualFold(typed, what.Email) || what.Phone != "" && events.Key(typed) == events.Key(what.Phone) {
		return true
	}
	name := strings.ToLower(what.Name)
	for _, w := range strings.Fields(strings.ToLower(typed)) {
		if !strings.Contains(name, w) {
			return false
		}
	}
	return true
}

// notOne says why it is not clear who is meant.
func notOne(v *eventlog.View, typed string, meant []events.PersonID, known map[events.PersonID]events.Personal) error {
	if len(meant) == 0 {
		if p, err := events.ParsePersonID(typed); err == nil {
			if e, err := v.Person(p); err == nil && e.Forgotten() {
				return &NotHere{"customer " + typed, "is forgotten already"}
			}
		}
		return &NotHere{fmt.Sprintf("customer %q", typed), "is not known here, or is forgotten"}
	}
	list := []string{}
	for _, p := range meant {
		c, _, err := customerOf(v, p, known[p])
		if err != nil {
			return err
		}
		list = append(list, "  "+c.String())
	}
	slices.Sort(list)
	return &NotHere{fmt.Sprintf("customer %q", typed), fmt.Sprintf("may be %d people; say which by the first word of the line:\n%s", len(meant), strings.Join(list, "\n"))}
}

// customerOf counts a customer's visits, and gives the tags of the units.
func customerOf(v *eventlog.View, p events.PersonID, what events.Personal) (c Customer, tags []string, err error) {
	c, tags = Customer{ID: p.String(), Name: what.Name, City: what.City, Phone: what.Phone}, []string{}
	units, err := projections.ByPerson(v, p)
	for _, u := range units {
		h, err := projections.Load(v, u)
		if err != nil {
			return c, tags, err
		}
		if h == nil {
			continue
		}
		for i := range h.Visits {
			if h.Visits[i].Person == p {
				c.Visits++
			}
		}
		tags = append(tags, unitName(h))
	}
	return c, tags, err
}

// ordered are the orders to forget that are in the log and not heeded here.
func (s *Shop) ordered() (list []events.KeyEntry, err error) {
	err = s.view(func(v *eventlog.View) error {
		return projections.EachOrder(v, func(p events.PersonID, o events.ForgetOrder) (bool, error) {
			have, err := v.Person(p)
			if err == nil && !have.Forgotten() {
				list = append(list, events.KeyEntry{Person: p, Order: o})
			}
			return true, err
		})
	})
	return list, err
}

// heed forgets whom an owner ordered to forget, by whichever way the order came:
// as an event, or in place of the key.
func (s *Shop) heed() error {
	if s.Log.Err() != nil || s.noViews {
		return nil // what can't be written is heeded later
	}
	list, err := s.ordered()
	if err != nil {
		return err
	}
	if len(list) > 0 {
		r, err := s.Roster()
		if err != nil {
			return err
		}
		k := keyring.Keeper{Log: s.Log, OwnerSigned: r.OwnerSigned}
		if _, err := k.Take(context.Background(), list, nil); err != nil {
			return err
		}
	}
	return s.scour()
}

// scour takes what is left of those who were forgotten out of memory, and out of
// the store's files.
func (s *Shop) scour() error {
	err := s.viewKeys(func(v *eventlog.View) error { return s.customers.Refresh(v) })
	return errors.Join(err, s.Log.Scour(context.Background()))
}

// unheeded reports whether somebody is shown here who is to be forgotten: the
// order came, and the program ended before it was heeded.
func (s *Shop) unheeded() (bool, error) {
	list, err := s.ordered()
	if err != nil || len(list) == 0 {
		return false, err
	}
	r, err := s.Roster()
	if err != nil {
		return false, err
	}
	return slices.ContainsFunc(list, func(e events.KeyEntry) bool {
		return r.OwnerSigned(events.ForgetStatement(s.Log.Shop(), e.Person), e.Order[:]) == nil
	}), nil
}

// follow lets what follows from events that came follow.
func (s *Shop) follow() error { return errors.Join(s.freshViews(), s.heed()) }
