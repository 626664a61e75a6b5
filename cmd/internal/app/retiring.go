package app

import (
	"errors"
	"io/fs"
	"strings"

	"oldhand/events"
	"oldhand/sync/roster"
)

// Retired says what retiring a bench came to.
type Retired struct {
	Bench  string   `json:"bench"`
	Events uint64   `json:"events_that_count"`
	Notes  []string `json:"notes"`
}

// Retire ends a bench: of it counts what is here, on every bench alike, and what
// the benches seal from here on it can't open.
func (s *Shop) Retire(name, why string) (res Retired, err error) {
	owner, err := s.ownerKey()
	if errors.Is(err, fs.ErrNotExist) {
		return res, &NotHere{"the owner's key", "is not in this folder; retire a bench from the one that has it"}
	}
	if err != nil {
		return res, err
	}
	if err := s.ensureKey(); err != nil {
		return res, err
	}
	r, err := s.Roster()
	if err != nil {
		return res, err
	}
	b, err := benchNamed(r, name)
	if err != nil {
		return res, err
	}
	if own, err := s.key.Public(); err != nil || own == b.ID {
		return res, errors.Join(err, &Wrong{"bench " + name, "is this bench; retire it from another one that has the owner's key"})
	}
	var heads []events.Head
	for _, r := range s.Log.Branches() {
		if r.Feed.Bench == b.ID {
			heads = append(heads, r.Head)
			res.Events += r.Own()
		}
	}
	ended, err := roster.End(owner, s.Log.Shop(), b.ID, heads, why)
	if err != nil {
		return res, err
	}
	if err := s.state(ended...); err != nil {
		return res, err
	}
	res.Bench = b.Name
	res.Notes = []string{
		"what that laptop held, whoever has it can still read",
		"what it recorded and never exchanged does not count; where it turns up it is kept aside, and counts if you say so: oldhand release",
	}
	return res, errors.Join(s.newKey(owner), s.applyRoster())
}

// newKey begins the next epoch, for all benches that are at work.
func (s *Shop) newKey(owner events.BenchKey) error {
	r, err := s.Roster()
	if err != nil {
		return err
	}
	var secret events.ShopKey
	if err := random(secret[:]); err != nil {
		return err
	}
	set, err := r.Rekey(owner, secret)
	if err != nil {
		return err
	}
	return s.state(set)
}

// applyRoster lets what follows from the roster follow.
func (s *Shop) applyRoster() error {
	if _, err := s.replica(); err != nil {
		return err
	}
	return s.freshViews()
}

func benchNamed(r roster.Roster, name string) (b roster.Bench, err error) {
	var names []string
	for _, b := range r.Benches() {
		if b.Name == name && !b.Retired {
			return b, nil
		}
		if b.Name == name {
			err = &Wrong{"bench " + name, "is retired already"}
		}
		names = append(names, b.Name)
	}
	if err == nil {
		err = &Wrong{"bench " + name, "is none of this shop's: " + strings.Join(names, ", ")}
	}
	return b, err
}
