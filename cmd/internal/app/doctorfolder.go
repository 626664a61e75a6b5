package app

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"oldhand/events/eventlog"
	"oldhand/projections"

	"github.com/cockroachdb/pebble/v2/vfs"
)

// What a check-up says of the folder and the machine that it is on.

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

// checkWitness looks at the file by which a folder that was put back from a copy is
// found out.
func (s *Shop) checkWitness(c *Checkup) error {
	a, err := s.Log.About()
	if err != nil {
		return err
	}
	const without = ": if the folder is ever put back from a copy, nobody would notice"
	switch rel, out := filepath.Rel(s.Dir, a.Witness); {
	case s.Log.Err() != nil: // nothing is written, so there may be none
	case a.Witness == "":
		c.ill("witness", "set HOME, or OLDHAND_STATE to a folder outside of the shop's", "there is no place to remember what was saved last%s", without)
	case out == nil && filepath.IsLocal(rel):
		c.ill("witness", "set OLDHAND_STATE to a folder outside of the shop's", "%s lies in the shop's own folder%s", a.Witness, without)
	case !a.Witnessed && s.wroteAny():
		c.ill("witness", "see that "+filepath.Dir(a.Witness)+" can be written; the next entry writes it", "%s is missing or torn%s", a.Witness, without)
	default:
		c.well("witness", "what was saved last is remembered outside of the folder as well, and agrees")
	}
	return nil
}

// wroteAny reports whether anything here is this bench's own: one that joined and
// wrote nothing yet has nothing to remember.
func (s *Shop) wroteAny() bool {
	own, err := s.key.Public()
	return err == nil && slices.ContainsFunc(s.Log.Branches(), func(r eventlog.Reach) bool { return r.Feed.Bench == own })
}

// checkDisk looks for room, and for the file that is given up where there is none.
func (s *Shop) checkDisk(c *Checkup) error {
	use, err := vfs.Default.GetDiskUsage(s.Dir)
	if err != nil { // a disk that does not say
		return nil
	}
	a, err := s.Log.About()
	switch free := SizeText(int64(use.AvailBytes)); {
	case err != nil:
		return err
	case use.AvailBytes < eventlog.FillingUp:
		c.ill("disk", "free some room, or move the folder to a larger disk", "%s are free; writing stops below %s", free, SizeText(eventlog.DefaultLeastFree))
	case a.Ballast:
		c.well("disk", "%s are free, and a file is there to be given up when it is full", free)
	default:
		c.well("disk", "%s are free", free)
	}
	return nil
}

// checkRights looks whether others on this machine can look into the folder, and
// whether this program can write into it.
func (s *Shop) checkRights(c *Checkup) error {
	odd := 0
	for _, path := range append([]string{s.Dir}, s.ownFolders()...) {
		info, err := os.Stat(path)
		if err != nil {
			return err
		}
		if runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 { // there others get in by a list that no mode shows
			c.ill("folder", "chmod 700 "+path, "%s is open to others on this machine, who could read what is in it", path)
			odd++
		}
	}
	if loose := s.looseFiles(); len(loose) > 0 {
		c.ill("folder", "chmod 600 "+strings.Join(loose, " "), "others on this machine may look into %s where the folder lets them in", strings.Join(loose, ", "))
		odd++
	}
	if err := s.tryWriting(); err != nil {
		c.ill("folder", "see that you own "+s.Dir+" and all in it, and that its disk can be written", "nothing can be written into it: %v", err)
		odd++
	}
	if odd == 0 {
		c.well("folder", "%s can be written, and is closed to others on this machine", s.Dir)
	}
	return nil
}

// tornHelp is for a file that is read whenever a program starts which needs it.
const tornHelp = "no entry is in it: take it away, start again, and tell anew what stood in it"

// checkPage looks at what the page can't be started without.
func (s *Shop) checkPage(c *Checkup) error {
	for _, f := range []struct {
		name, lost string
		into       any
	}{{dutiesFile, "what it does beside, such as hosting", &keptDuties{}}, {lanFile, "who may use it from a phone or tablet", &keptLan{}}} {
		var torn *Torn
		if err := readJSON(filepath.Join(s.Dir, f.name), f.into); errors.As(err, &torn) {
			c.ill("page", tornHelp, "it does not start, since it can't be told %s: %v", f.lost, torn)
		}
	}
	return nil
}

// looseFiles are the small files beside the log that are not for their owner only, as
// all of them were written.
func (s *Shop) looseFiles() (list []string) {
	for _, name := range smallFiles {
		path := filepath.Join(s.Dir, name)
		if info, err := os.Stat(path); err == nil && runtime.GOOS != "windows" && info.Mode().Perm()&0o077 != 0 {
			list = append(list, path)
		}
	}
	return list
}

// smallFiles are those that say where and when the benches met, who may use the page,
// and what is done by itself.
var smallFiles = []string{metFile, tookFile, exchangesFile, answerFile, dutiesFile, lanFile, backupsFile, scrubFile}

// ownFolders are those in the folder that hold secrets.
func (s *Shop) ownFolders() (list []string) {
	for _, name := range []string{"keys", exchangeDir} {
		path := filepath.Join(s.Dir, name)
		if info, err := os.Stat(path); err == nil && info.IsDir() {
			list = append(list, path)
		}
	}
	return list
}

// tryWriting makes a file and takes it away again.
func (s *Shop) tryWriting() error {
	f, err := os.CreateTemp(s.Dir, ".doctor-*")
	if err != nil {
		return err
	}
	_, err = f.Write([]byte("tried"))
	if closed := f.Close(); err == nil {
		err = closed
	}
	if gone := os.Remove(f.Name()); err == nil {
		err = gone
	}
	return err
}

func (s *Shop) logAndBenches() (a eventlog.About, b Benches, err error) {
	if a, err = s.Log.About(); err == nil {
		b, err = s.Benches()
	}
	return a, b, err
}

// checkClock holds this machine's clock beside the stamps of what was recorded: no
// event can be of a time to come.
func (s *Shop) checkClock(c *Checkup) error {
	a, b, err := s.logAndBenches()
	if err != nil {
		return err
	}
	const minute = "2006-01-02 15:04"
	now := s.now()
	var ahead []string
	for _, x := range b.Benches {
		if x.last.Sub(now) > clockSlack {
			name := "bench " + x.Name
			if x.Here {
				name = "this bench"
			}
			ahead = append(ahead, fmt.Sprintf("%s at %s", name, x.last.Local().Format(minute)))
		}
	}
	switch {
	case len(ahead) > 0:
		c.ill("clock", "set the clock that is wrong: this laptop's, or that bench's; what was recorded stays in its order", "this laptop's says %s, and something was recorded later than that: by %s", now.Local().Format(minute), strings.Join(ahead, ", "))
	case a.Last.Sub(now) > clockSlack:
		c.ill("clock", "set this laptop's clock", "this laptop's says %s, and it stamped something with %s before", now.Local().Format(minute), a.Last.Local().Format(minute))
	default:
		c.well("clock", "this laptop's says %s, and nothing that is here was recorded later", now.Local().Format(minute))
	}
	return nil
}

// checkVersions holds what this program is and reads beside what the others run.
func (s *Shop) checkVersions(c *Checkup) error {
	a, b, err := s.logAndBenches()
	if err != nil {
		return err
	}
	var newer []string
	for _, x := range b.Benches {
		if newerProgram(x.Program, Software) {
			newer = append(newer, fmt.Sprintf("bench %s %s", x.Name, x.Program))
		}
	}
	const do = "put the newer program on this laptop too; until then what it does not understand is kept and passed on"
	if len(newer) > 0 {
		c.ill("versions", do, "this is %s, and a newer one runs at %s", Software, strings.Join(newer, ", "))
		return nil
	}
	for _, x := range b.Aside {
		if x.Newer {
			c.ill("versions", do, "this is %s, and bench %s gave something that only a newer one reads", Software, x.Bench)
			return nil
		}
	}
	c.well("versions", "this is %s; the log has format %d of the %d that it reads, answers are of version %s", Software, a.Format, eventlog.StoreFormat, projections.Version)
	return nil
}
