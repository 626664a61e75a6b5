package app

import (
	"errors"
	"fmt"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// Finding is one thing that a check-up looked at.
type Finding struct {
	About string `json:"about"`
	OK    bool   `json:"ok"`
	Says  string `json:"says"`
	Do    string `json:"do,omitempty"` // what helps, where it is not as it should be
}

// Checkup is how a bench stands.
type Checkup struct {
	Findings []Finding `json:"findings"`
	OK       bool      `json:"ok"`
}

func (c *Checkup) add(f Finding) { c.Findings = append(c.Findings, f) }

func (c *Checkup) well(about, says string, args ...any) {
	c.add(Finding{About: about, OK: true, Says: fmt.Sprintf(says, args...)})
}

func (c *Checkup) ill(about, do, says string, args ...any) {
	c.add(Finding{About: about, Says: fmt.Sprintf(says, args...), Do: do})
}

// Looking is how a check-up is made.
type Looking struct {
	Whole  bool              // also every event, answer and photo is read, which takes as long as there are
	Told   func(done uint64) // hears of the events that were read; may be nil
	Duties *Duties           // what the program that has the folder open does beside; nil where nothing
}

// Doctor looks at everything that can be wrong with a bench and says in words how
// it stands and what helps. It changes nothing but that a damaged photo is put
// aside, as Verify does, and that a whole one is remembered as the scrub that it
// was. The folder is open for writing, so that what hinders that is found.
func (s *Shop) Doctor(l Looking) (c Checkup, err error) {
	looks := []func(*Checkup) error{s.checkScrub, s.checkWriting, s.checkWitness, s.checkDisk, s.checkRights, s.checkPage, s.checkClock, s.checkVersions,
		s.checkBenches, s.checkMeeting, func(c *Checkup) error { return s.checkExchange(c, l.Duties) }, s.checkKeys, s.checkConflicts, s.checkBackup}
	if l.Whole {
		looks[0] = func(c *Checkup) error { return s.checkAll(c, l.Told) }
	}
	for _, look := range looks {
		if err := look(&c); err != nil {
			return c, err
		}
	}
	c.OK = true
	for _, f := range c.Findings {
		c.OK = c.OK && f.OK
	}
	return c, nil
}

const damageHelps = "put this folder aside; make the bench of a backup (oldhand backup restore) or let it join anew (oldhand invite, oldhand join): what it gave to others comes back from them"

// Unopened is the check-up of a folder that can't be opened for damage; ok is false
// for another reason.
func Unopened(err error) (c Checkup, ok bool) {
	if !errors.Is(err, eventlog.ErrDamaged) {
		return c, false
	}
	c.ill("events", damageHelps, "%v", err)
	return c, true
}

// checkAll reads everything.
func (s *Shop) checkAll(c *Checkup, told func(uint64)) error {
	begun := s.now()
	v, err := s.Verify(told)
	if kept := s.keepVerified(begun, v, err); kept != nil && err == nil {
		return kept
	}
	switch {
	case errors.Is(err, eventlog.ErrDamaged):
		*c, _ = Unopened(err)
		return nil
	case err != nil:
		return err
	case !v.OK && len(v.Attached.Damaged) == 0:
		c.ill("answers", "oldhand rebuild", "%s", v.Wrong)
	case !v.OK:
		c.ill("photos and recordings", "oldhand sync, or attach the same file again", "%s", v.Wrong)
	default:
		c.well("events", "%s in %s, every chain whole, and what follows from them is as it should be; digest %.16s...", eventCount(v.Events), events.Count(v.Feeds, "run"), v.Digest)
	}
	if v.Unread > 0 {
		c.ill("unread", "the program that wrote them reads them: put it on this laptop too", "%s of a kind that a newer program made are kept and passed on, and not understood by this one (%s)", eventCount(v.Unread), Software)
	}
	if v.Attached.Away > 0 {
		c.well("photos and recordings", "%d here, %d at other benches", v.Attached.Here, v.Attached.Away)
	}
	return nil
}

// checkScrub says when everything was read last, and what that found.
func (s *Shop) checkScrub(c *Checkup) error {
	const do = "leave oldhand serve running for a while: it reads everything once a week; or oldhand doctor, which does so at once"
	st, err := s.ScrubState()
	if err != nil {
		return err
	}
	last := st.Last
	if last == nil {
		c.well("weekly check", "none was made yet; oldhand serve reads everything once a week, oldhand doctor at once")
		return nil
	}
	for _, f := range last.Found {
		c.ill("weekly check", f.Do, "found on %s, in %s: %s", last.At(), f.Where, f.Says)
	}
	at, err := time.Parse(time.RFC3339, last.Ended)
	switch {
	case len(last.Found) > 0:
	case err != nil || s.now().Sub(at) > oldScrub:
		c.ill("weekly check", do, "everything was read last on %s", last.At())
	default:
		c.well("weekly check", "everything was read on %s and is whole: %s", last.At(), last)
	}
	return nil
}
