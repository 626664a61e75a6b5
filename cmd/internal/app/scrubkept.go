package app

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"regexp"
	"strings"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
)

// scrubFile remembers the last scrub, and how far the one under way came. It is of
// this folder's own store, and no backup has it.
const scrubFile = "scrub.json"

// Scrubbed is a scrub that came to its end: every chain was walked and every photo
// and recording read.
type Scrubbed struct {
	Begun  string         `json:"begun"` // RFC 3339
	Ended  string         `json:"ended"`
	Events uint64         `json:"events"`
	Feeds  int            `json:"feeds"` // runs that are whole
	Pieces int            `json:"pieces"`
	Found  []ScrubTrouble `json:"found,omitempty"`
}

// ScrubTrouble is something that a scrub found damaged, where that is, and what
// helps.
type ScrubTrouble struct {
	Where string `json:"where"` // a file or folder, seen from the shop's folder
	Says  string `json:"says"`
	Do    string `json:"do"`
}

// goingScrub is one under way, and where it goes on.
type goingScrub struct {
	Scrubbed
	At    eventlog.ScrubPlace `json:"at"`
	Walk  bool                `json:"walked"`          // every chain is walked, and the photos are next
	Piece string              `json:"piece,omitempty"` // that was read last
}

type keptScrub struct {
	Last  *Scrubbed   `json:"last,omitempty"`
	Going *goingScrub `json:"going,omitempty"`
}

const piecesHelp = "oldhand sync fetches it again where another bench has it; attaching the same file again mends it as well"

func (s *Shop) scrubKept() (k keptScrub, err error) {
	s.scrubbing.Lock()
	defer s.scrubbing.Unlock()
	return s.readScrub()
}

// readScrub reads what is kept. A file that can't be read is as good as none: all
// that it costs is a scrub.
func (s *Shop) readScrub() (k keptScrub, err error) {
	err = readJSON(filepath.Join(s.Dir, scrubFile), &k)
	if errors.Is(err, fs.ErrNotExist) || errors.As(err, new(*Torn)) {
		return keptScrub{}, nil
	}
	return k, err
}

// keepScrub changes what is kept.
func (s *Shop) keepScrub(change func(*keptScrub)) error {
	s.scrubbing.Lock()
	defer s.scrubbing.Unlock()
	k, err := s.readScrub()
	if err != nil {
		return err
	}
	change(&k)
	return writeJSON(filepath.Join(s.Dir, scrubFile), k)
}

// keepVerified notes a check of the whole folder as the scrub that it was. One that
// is under way is over with it.
func (s *Shop) keepVerified(begun time.Time, v Verified, err error) error {
	done := Scrubbed{Begun: begun.Format(time.RFC3339), Ended: s.now().Format(time.RFC3339), Events: v.Events, Feeds: v.Feeds, Pieces: v.Attached.Here}
	for _, h := range v.Attached.Damaged {
		done.Found = append(done.Found, damagedPiece(h))
	}
	switch {
	case errors.Is(err, eventlog.ErrDamaged):
		done.Found = append(done.Found, damagedLog(err))
	case err != nil:
		return nil
	}
	return s.keepScrub(func(k *keptScrub) { k.Last, k.Going = &done, nil })
}

// tableIn is how the engine names one of its files.
var tableIn = regexp.MustCompile(`\bfile (\d{6,})\b`)

// damagedLog is damage that reading the log met. The engine names the file by its
// number, and adds lines that tell an owner nothing.
func damagedLog(err error) ScrubTrouble {
	says, _, _ := strings.Cut(err.Error(), "\n")
	where := "store"
	if m := tableIn.FindStringSubmatch(says); m != nil {
		where = filepath.Join(where, m[1]+".sst")
	}
	return ScrubTrouble{where, says, damageHelps}
}

func damagedPiece(hash string) ScrubTrouble {
	return ScrubTrouble{filepath.Join(evidenceDir, "kept", hash), "a photo or recording is damaged on the disk and was put aside", piecesHelp}
}

// At is when it ended, in the words of a page.
func (d Scrubbed) At() string { return shownTime(d.Ended) }

// String says what it walked.
func (d Scrubbed) String() string {
	return fmt.Sprintf("%s in %s and %s", eventCount(d.Events), events.Count(d.Feeds, "run"), events.Count(d.Pieces, "photo or recording", "photos and recordings"))
}

// shownTime is an instant that a file keeps, in this machine's time and to the
// minute.
func shownTime(kept string) string {
	at, err := time.Parse(time.RFC3339, kept)
	if err != nil {
		return kept
	}
	return at.Local().Format("2006-01-02 15:04")
}

// Moment is what the bench's clock says, in the words of a page.
func (s *Shop) Moment() string { return shownTime(s.now().Format(time.RFC3339)) }
