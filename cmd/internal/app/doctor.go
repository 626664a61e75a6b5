package app

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"

	"github.com/cockroachdb/pebble/v2/vfs"
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

// What a check-up takes for long. Our choice, no source.
const (
	oldBackup  = 30 * 24 * time.Hour
	oldMeeting = 14 * 24 * time.Hour
)

// Doctor looks at everything that can be wrong with a bench and says in words how
// it stands and what helps. Whole also reads every event, answer and photo, which
// takes as long as there are. It changes nothing but that a damaged photo is put
// aside, as Verify does. The folder is open for writing, so that what hinders that
// is found.
func (s *Shop) Doctor(whole bool, told func(done uint64)) (c Checkup, err error) {
	looks := []func(*Checkup) error{s.checkWriting, s.checkDisk, s.checkBenches, s.checkMeeting, s.checkKeys, s.checkConflicts, s.checkBackup}
	if whole {
		looks = append([]func(*Checkup) error{func(c *Checkup) error { return s.checkAll(c, told) }}, looks...)
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

func (s *Shop) checkAll(c *Checkup, told func(uint64)) error {
	v, err := s.Verify(told)
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
		c.well("versions", "%s of a kind that a newer program made are kept, passed on and not understood by this one (%s)", eventCount(v.Unread), Software)
	}
	if v.Attached.Away > 0 {
		c.well("photos and recordings", "%d here, %d at other benches", v.Attached.Here, v.Attached.Away)
	}
	return nil
}

func (s *Shop) checkWriting(c *Checkup) error {
	found := s.Log.Found()
	if lost := found.LostTail; lost != nil {
		c.ill("this bench's own past", "oldhand sync", "%s", lost)
	}
	if err := found.ReadOnly; err != nil {
		c.ill("writing", "free some room, or mend what is said, and start again", "%v", err)
	}
	return nil
}

func (s *Shop) checkDisk(c *Checkup) error {
	use, err := vfs.Default.GetDiskUsage(s.Dir)
	switch {
	case err != nil: // a disk that does not say
		return nil
	case use.AvailBytes < eventlog.FillingUp:
		c.ill("disk", "free some room, or move the folder to a larger disk", "%s are free; writing stops below %s", SizeText(int64(use.AvailBytes)), SizeText(eventlog.DefaultLeastFree))
	default:
		c.well("disk", "%s are free", SizeText(int64(use.AvailBytes)))
	}
	return nil
}

func (s *Shop) checkBenches(c *Checkup) error {
	b, err := s.Benches()
	if err != nil {
		return err
	}
	odd := 0
	for _, x := range b.Benches {
		for _, said := range x.Says {
			c.ill("bench "+x.Name, "oldhand benches says more", "%s", said)
			odd++
		}
	}
	for _, said := range append(b.Says, b.Notes...) {
		c.ill("benches", "oldhand benches says more", "%s", said)
		odd++
	}
	if odd == 0 {
		c.well("benches", "%s, and nothing is odd about any", events.Count(len(b.Benches), "bench", "benches"))
	}
	return nil
}

func (s *Shop) checkMeeting(c *Checkup) error {
	r, err := s.Roster()
	if err != nil {
		return err
	}
	others := 0
	for _, b := range r.Benches() {
		if !b.Retired {
			others++
		}
	}
	if others < 2 {
		return nil
	}
	var met lastMet
	if err := readJSON(filepath.Join(s.Dir, metFile), &met); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", met.At, time.Local)
	switch {
	case err != nil:
		c.ill("meeting", "oldhand sync, or oldhand bundle write", "this bench has not met the others yet")
	case s.now().Sub(at) > oldMeeting:
		c.ill("meeting", "oldhand sync, or oldhand bundle write", "this bench met the others last at %s", met.At)
	default:
		c.well("meeting", "this bench met the others last at %s", met.At)
	}
	return nil
}

func (s *Shop) checkKeys(c *Checkup) error {
	list, err := os.ReadDir(filepath.Join(s.Dir, "keys"))
	if err != nil {
		return err
	}
	for _, f := range list {
		info, err := f.Info()
		if err != nil {
			return err
		}
		if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
			path := filepath.Join(s.Dir, "keys", f.Name())
			c.ill("keys", "chmod 600 "+path, "%s can be read by others on this machine", path)
		}
	}
	r, err := s.Roster()
	if err != nil {
		return err
	}
	switch {
	case !s.IsOwners():
		c.well("keys", "the owner's key is at another bench")
	case len(r.Owners()) < 2:
		c.ill("keys", "oldhand owner-key spare NAME, and put what it prints into a drawer elsewhere", "the owner's key is on this machine only: with it goes the right to let benches in")
	default:
		c.well("keys", "the owner's key is here, and there is another")
	}
	return nil
}

func (s *Shop) checkConflicts(c *Checkup) error {
	list, err := s.Conflicts()
	if err == nil && len(list) > 0 {
		c.ill("entries", "oldhand conflicts, oldhand settle", "of %s two benches said different things of one fact", events.Count(len(list), "unit"))
	}
	return err
}

func (s *Shop) checkBackup(c *Checkup) error {
	const do = "oldhand backup write FILE, on another disk"
	last, ok, err := s.Backups()
	if err != nil || !ok {
		c.ill("backup", do, "none was made of this folder")
		return err
	}
	at, err := time.Parse(time.RFC3339, last.At)
	if err != nil {
		return fmt.Errorf("%s: %w", backupsFile, err)
	}
	day := at.Format("2006-01-02 15:04")
	switch {
	case s.now().Sub(at) > oldBackup:
		c.ill("backup", do, "the last was made on %s", day)
	case last.Digest == "":
		c.ill("backup", "oldhand backup check "+last.File, "the last, of %s, was not tried out", day)
	default:
		c.well("backup", "made on %s and tried out: %s", day, last.File)
	}
	return nil
}
