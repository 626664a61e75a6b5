package app

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/projections"
)

// Match is a unit that a lookup may mean, in as much as a list shows.
type Match struct {
	Likely
	Year    string `json:"year,omitempty"` // made
	Visits  int    `json:"visits"`
	Here    bool   `json:"here"` // it stands on a bench
	Since   string `json:"since,omitempty"`
	Left    string `json:"left,omitempty"` // the day it left last, where that is known
	Outcome string `json:"outcome,omitempty"`

	Customer string `json:"customer,omitempty"` // of the last visit, where it was found by one
}

// Lookup finds units by what was typed or scanned, best first, and says of each
// only what a list shows. More is whether there are further ones.
func (s *Shop) Lookup(query string, limit int) (list []Match, more bool, err error) {
	err = s.view(func(v *eventlog.View) error {
		found, err := projections.Find(v, s.naming(v), Scanned(query), limit+1)
		if err != nil {
			return err
		}
		if more = len(found) > limit; more {
			found = found[:limit]
		}
		for _, m := range found {
			h, err := load(v, m.Root)
			if err != nil {
				return err
			}
			one := matchOf(h, m)
			if m.Why == projections.ByCustomer {
				if one.Customer, err = lastCustomer(v, h); err != nil {
					return err
				}
			}
			list = append(list, one)
		}
		return nil
	})
	return list, more, err
}

// naming finds customers by name; nobody is, for somebody who is not to see what
// customers are called.
func (s *Shop) naming(v *eventlog.View) projections.Naming {
	if s.veiled {
		return nil
	}
	return func(words []string) ([]projections.Named, error) { return s.customers.Find(v, words) }
}

// OpenNames opens the names of customers before somebody looks for one, for a
// program that goes on: the first lookup by a name would wait for it.
func (s *Shop) OpenNames() error {
	return s.viewKeys(func(v *eventlog.View) error {
		_, err := s.customers.Find(v, nil)
		return err
	})
}

func matchOf(h *projections.History, m projections.Match) Match {
	f := Match{Likely: likelyOf(h, m.Likeness, m.Why), Year: events.YearsText(h.YearFrom, h.YearTo), Visits: len(h.Visits)}
	if len(h.Visits) == 0 {
		return f
	}
	v := &h.Visits[len(h.Visits)-1]
	switch v.End {
	case projections.Open:
		f.Here, f.Since = true, v.Received.String()
	case projections.Ended:
		f.Left, f.Outcome = v.Shipped.String(), pastVisit(v).Outcome
	}
	return f
}

// lastCustomer is the name of who brought a unit last, as far as anybody said.
func lastCustomer(r opener, h *projections.History) (string, error) {
	for _, v := range slices.Backward(h.Visits) {
		if !v.Person.IsZero() {
			return customer(r, v.Person)
		}
	}
	return "", nil
}

// Print stands for all that is known of a unit: it is another one as soon as
// anything of that is.
func (s *Shop) Print(typed string) (print string, err error) {
	err = s.view(func(v *eventlog.View) error {
		h, err := Resolve(v, typed)
		if err != nil {
			return err
		}
		sum := sha256.New()
		fmt.Fprintln(sum, h.Members, h.Conflicts, h.Apart)
		for _, e := range append(entriesOf(h), h.Withdrawn...) {
			fmt.Fprintln(sum, e.ID, e.Shown)
		}
		print = hex.EncodeToString(sum.Sum(nil)[:8])
		return nil
	})
	return print, err
}
