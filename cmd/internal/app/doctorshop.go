package app

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"oldhand/events"
)

// What a check-up says of the shop: its benches, where they meet, keys, entries and
// backups.

// What is taken for long, and how far two clocks may be apart. Our choice, no source.
const (
	oldBackup  = 30 * 24 * time.Hour
	oldMeeting = 14 * 24 * time.Hour
	oldScrub   = 14 * 24 * time.Hour
	oldBench   = 60 * 24 * time.Hour
	clockSlack = 5 * time.Minute
)

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
	if odd += s.checkSeen(c, b); odd == 0 {
		c.well("benches", "%s, and nothing is odd about any", events.Count(len(b.Benches), "bench", "benches"))
	}
	return nil
}

// checkSeen says of which benches nothing came for long.
func (s *Shop) checkSeen(c *Checkup, b Benches) (odd int) {
	for _, x := range b.Benches {
		if x.Here || x.Retired {
			continue
		}
		since, says := x.last, "nothing that was recorded there since %s is here"
		if since.IsZero() {
			since, says = x.let, "nothing that was recorded there ever came here, and it was let in on %s"
		}
		if !since.IsZero() && s.now().Sub(since) > oldBench {
			c.ill("bench "+x.Name, "let it meet the others, or carry a bundle; if it is lost or given up: oldhand retire "+x.Name, says, since.Local().Format(time.DateOnly))
			odd++
		}
	}
	return odd
}

// checkMeeting says when this bench met the others last, and whether it knows where
// they meet.
func (s *Shop) checkMeeting(c *Checkup) error {
	var places *PlacesLost
	ending, err := EndingRoots(s.Dir, s.now())
	switch {
	case errors.As(err, &places):
		c.ill("meeting", placesHelp, "%v", err)
	case err != nil:
		return err
	}
	for _, said := range ending {
		c.ill("servers", EndingRootsHelp, "%s", said)
	}
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
	if others > 1 {
		s.checkLastMet(c)
	}
	return nil
}

// checkLastMet holds the last meeting beside the clock. A time to come would else be
// taken for well until it has come.
func (s *Shop) checkLastMet(c *Checkup) {
	const do = "oldhand sync; without a network carry a file each way: oldhand bundle write, oldhand bundle read"
	met, lost := s.lastMeeting()
	at, err := met.last()
	switch {
	case lost != nil:
		c.ill("meeting", "oldhand sync, which notes it anew", "%v", lost)
	case err != nil || at.IsZero():
		c.ill("meeting", do, "%s", met.says())
	case at.Sub(s.now()) > clockSlack:
		c.ill("meeting", "set this laptop's clock if it is wrong; oldhand sync notes the time anew", "%s, which is still to come by this laptop's clock: it was wrong then, or is now", met.says())
	case s.now().Sub(at) > oldMeeting:
		c.ill("meeting", do, "%s", met.says())
	default:
		c.well("meeting", "%s", met.says())
	}
}

// inspectWithin is how long the exchange that runs here may take to say how it is.
const inspectWithin = 10 * time.Second

// checkExchange says how the exchange is set: of one that runs here it is read back
// from its server, of another it is what was seen at the last meeting.
func (s *Shop) checkExchange(c *Checkup, d *Duties) error {
	if d != nil {
		ctx, stop := context.WithTimeout(context.Background(), inspectWithin)
		defer stop()
		if done, err := d.checkHosted(ctx, c); done || err != nil {
			return err
		}
	}
	met, _ := s.lastMeeting() // that it can't be read was said
	switch {
	case len(met.Loosened) > 0:
		c.ill("exchange", "whoever runs that server sets it right; nothing is lost meanwhile, since each bench keeps all that it has", "the one at %s was not as it should be at %s: %s", met.With, met.At, strings.Join(met.Loosened, "; "))
	case hostsNow(s.Dir):
		c.well("exchange", "a command in another window hosts, and read its settings back when it started")
	case met.With != "":
		c.well("exchange", "the one at %s was as it should be at %s", met.With, met.At)
	}
	return nil
}

// checkHosted says how the exchange is that runs in this program; done is whether
// one does.
func (d *Duties) checkHosted(ctx context.Context, c *Checkup) (done bool, err error) {
	d.mu.Lock()
	h := d.host
	d.mu.Unlock()
	if h == nil {
		return false, nil
	}
	i, err := h.host.Inspect(ctx, h.tag)
	if err != nil {
		c.ill("exchange", "stop hosting and host again; what the benches have is not touched by it", "the one that runs here does not say how it is: %v", err)
		return true, nil
	}
	if wrong := i.Wrong(); len(wrong) > 0 {
		c.ill("exchange", "stop hosting and host again; if it stays so, put "+filepath.Join(d.shop.Dir, exchangeDir)+" aside first: the benches fill another one", "the one that runs here is not as it should be: %s", strings.Join(wrong, "; "))
		return true, nil
	}
	c.well("exchange", "the one that runs here says stored only when it is on disk, asks for TLS, uses %s of at most %s, and denied a bench all of the %d ways to take history away that were tried", SizeText(i.Used), SizeText(i.MaxStore), i.Tried)
	return true, nil
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
	c.add(s.BackupFinding())
	return nil
}

// BackupFinding is how this folder stands with backups.
func (s *Shop) BackupFinding() (f Finding) {
	const do = "oldhand backup write FILE, on another disk"
	f = Finding{About: "backup", Do: do}
	b := s.Backups()
	if b.Lost != "" {
		f.Do, f.Says = "oldhand backup check FILE, of the last one, or write another: oldhand backup write FILE", b.Lost
		return f
	}
	if b.Last == nil {
		f.Says = "none was made of this folder"
		return f
	}
	if b.Proven == nil {
		f.Do, f.Says = "oldhand backup check "+b.Last.File, fmt.Sprintf("the last, of %s, was not tried out", b.Last.Day())
		return f
	}
	switch old := b.Proven.olderThan(s.now(), oldBackup); {
	case old && b.Last.At != b.Proven.At:
		f.Do = "oldhand backup check " + b.Last.File
		f.Says = fmt.Sprintf("the last that was tried out is of %s; the one of %s was not", b.Proven.Day(), b.Last.Day())
	case old:
		f.Says = fmt.Sprintf("the last was made on %s", b.Proven.Day())
	default:
		f.OK, f.Do = true, ""
		f.Says = fmt.Sprintf("made on %s and tried out: %s", b.Proven.Day(), b.Proven.File)
	}
	return f
}
