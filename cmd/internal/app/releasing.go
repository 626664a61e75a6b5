package app

import (
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"oldhand/events"
	"oldhand/sync/replicate"
	"oldhand/sync/roster"
)

// Release says which of a retired bench's events an owner may let count after
// all.
type Release struct {
	Bench string // by its name
	UpTo  string // only what it recorded up to the end of this day; empty for all
	Why   string // for the others to read
	Do    bool   // else it is only looked what there is
	heads []events.Head
}

// Released is what a release came to, or would come to.
type Released struct {
	Bench  string        `json:"bench"`
	Done   bool          `json:"done"`
	Events int           `json:"events"`
	Runs   []ReleasedRun `json:"runs"`
	Left   []string      `json:"left"` // what stays uncounted, in words
}

// ReleasedRun is what counts of one run of the bench's log.
type ReleasedRun struct {
	Run    string `json:"run"`
	Events int    `json:"events"`
	First  string `json:"first"` // when it was recorded
	Last   string `json:"last"`
}

// Release lets what a retired bench recorded count on every bench, as far as it
// came over, whether it was in the log before the bench was retired or turned up
// later. The bench stays retired.
func (s *Shop) Release(o Release) (res Released, err error) {
	owner, err := s.ownerKey()
	if errors.Is(err, fs.ErrNotExist) {
		return res, &NotHere{"the owner's key", "is not in this folder; do this on the bench that has it"}
	}
	if err != nil {
		return res, err
	}
	in, err := s.looking()
	if err != nil {
		return res, err
	}
	of, err := retiredNamed(in.Roster(), o.Bench)
	if err != nil {
		return res, err
	}
	held, err := in.Uncounted(of.ID)
	if err != nil {
		return res, err
	}
	res = Released{Bench: of.Name, Runs: []ReleasedRun{}, Left: []string{}}
	if err := o.choose(held, &res); err != nil || !o.Do || len(o.heads) == 0 {
		return res, err
	}
	err = s.release(owner, of.ID, o, &res)
	return res, err
}

// release says it, and lets what follows from it follow.
func (s *Shop) release(owner events.BenchKey, bench events.BenchID, o Release, res *Released) error {
	b, err := s.replica()
	if err != nil {
		return err
	}
	said, err := roster.LetCount(owner, s.Log.Shop(), bench, o.heads, o.Why)
	if err != nil {
		return err
	}
	if err := s.state(said...); err != nil {
		return err
	}
	res.Done = true
	return errors.Join(b.Grew(0), s.freshViews())
}

// choose finds the heads up to which the bench is to count.
func (o *Release) choose(held []replicate.Uncounted, res *Released) error {
	var upTo events.Day
	if o.UpTo != "" {
		day, err := events.ParseDay(o.UpTo)
		if err != nil {
			return &Wrong{"--upto", err.Error()}
		}
		upTo = day
	}
	for _, u := range held {
		pieces, left := u.Pieces, 0
		if o.UpTo != "" {
			pieces, left = before(pieces, upTo)
		}
		if u.Forked {
			pieces, left = nil, countOf(u.Pieces)
		}
		res.leave(u, left)
		if len(pieces) == 0 {
			continue
		}
		end := pieces[len(pieces)-1]
		o.heads = append(o.heads, end.End)
		res.Events += countOf(pieces)
		res.Runs = append(res.Runs, ReleasedRun{shortRun(u.Feed), countOf(pieces),
			pieces[0].First.Time().Local().Format("2006-01-02 15:04"), end.Last.Time().Local().Format("2006-01-02 15:04")})
	}
	return nil
}

// before are the pieces that were recorded up to a day's end, and how many
// events are left out.
func before(pieces []replicate.Piece, day events.Day) (kept []replicate.Piece, left int) {
	n := 0
	for n < len(pieces) && events.DayOf(pieces[n].Last.Time().Local()) <= day {
		n++
	}
	return pieces[:n], countOf(pieces[n:])
}

func countOf(pieces []replicate.Piece) (n int) {
	for _, p := range pieces {
		n += p.Events
	}
	return n
}

// leave says what of a run stays uncounted.
func (r *Released) leave(u replicate.Uncounted, n int) {
	run := "of run " + shortRun(u.Feed)
	switch {
	case u.Forked:
		r.Left = append(r.Left, fmt.Sprintf("%s %s stay out: its log went two ways there, and only one of them can be its bench's", eventCount(n), run))
	case n > 0:
		r.Left = append(r.Left, fmt.Sprintf("%s %s stay out: they came in one piece with what was recorded after that day, or after it", eventCount(n), run))
	}
	if u.Waiting > 0 {
		r.Left = append(r.Left, fmt.Sprintf("%s %s can't be let count before the events that lead to them come", eventCount(uint64(u.Waiting)), run))
	}
}

// retiredNamed finds a bench that was retired. A bench at work may have its
// name since.
func retiredNamed(r roster.Roster, name string) (b roster.Bench, err error) {
	var names []string
	for _, b := range r.Benches() {
		switch {
		case b.Name == name && b.Retired:
			return b, nil
		case b.Name == name:
			err = &Wrong{"bench " + name, "is not retired; all of it counts"}
		case b.Retired:
			names = append(names, b.Name)
		}
	}
	if err == nil && len(names) == 0 {
		err = &Wrong{"bench " + name, "is no retired bench; this shop has none"}
	}
	if err == nil {
		err = &Wrong{"bench " + name, "is no retired bench: " + strings.Join(names, ", ")}
	}
	return b, err
}
