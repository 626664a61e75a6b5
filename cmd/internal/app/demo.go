package app

import (
	"errors"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"strings"

	"oldhand/cmd/internal/demo"
	"oldhand/events"
	"oldhand/events/eventlog"
)

// Demo says what an invented shop came to, and what to try with it.
type Demo struct {
	Folder string   `json:"folder"`
	Name   string   `json:"name"`
	Events uint64   `json:"events"`
	Units  int      `json:"units"`
	Visits int      `json:"visits"`
	Try    []string `json:"try"`
	Sights []Sight  `json:"sights"`
}

// Sight is something worth looking up in the invented shop.
type Sight struct {
	Title string `json:"title"`
	Query string `json:"query"`
}

// FromStory makes a data folder of an invented shop: its first bench's, with
// the feeds of all three.
func FromStory(dir string, story *demo.Story, o Options, progress func(int)) (d Demo, err error) {
	if err := mustBeFree(dir); err != nil {
		return d, err
	}
	front := story.Benches()[0]
	card := Card{1, story.Shop().String(), story.Name(), front.Name, front.Number}
	if err := lay(dir, card, map[string]events.BenchKey{"bench.key": front.Key, "owner.key": story.Owner()}); err != nil {
		return d, err
	}
	if err := forgetWitness(front.Key, o); err != nil {
		return d, err
	}
	s, err := open(dir, o, true)
	if err != nil {
		return d, err
	}
	if err := s.receiveStory(story, progress); err != nil {
		return d, errors.Join(err, s.Close())
	}
	d = Demo{Folder: dir, Name: card.Name}
	var v Verified
	err = s.view(func(view *eventlog.View) error { return s.tally(view, &v) })
	for _, h := range s.Log.Heads() {
		d.Events += h.Seq
	}
	d.Units, d.Visits = v.Units, v.Visits
	for _, sight := range demo.Sights {
		d.Sights = append(d.Sights, Sight{sight.Title, sight.Serial})
	}
	d.Try = tryNext(dir, d.Sights)
	return d, errors.Join(err, s.Close())
}

// forgetWitness drops what an earlier making of the same story left: the keys
// of a story come from its seed, and its folder is no copy of that one.
func forgetWitness(key events.BenchKey, o Options) error {
	bench, err := key.Public()
	if err != nil {
		return err
	}
	state, err := o.stateDir()
	if err != nil {
		return nil // no place for a witness, so there is none
	}
	err = os.Remove(filepath.Join(state, "witness-"+bench.String()))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// tryNext are three commands that work as they are printed.
func tryNext(dir string, sights []Sight) []string {
	at := " --shop " + quote(dir)
	query := "1"
	if len(sights) > 0 {
		query = sights[0].Query
	}
	return []string{"go run ./cmd/oldhand past " + quote(query) + at, "go run ./cmd/oldhand today" + at, "go run ./cmd/oldhand ask rarity" + at}
}

func quote(s string) string {
	if strings.ContainsAny(s, " '\"$\\") {
		return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
	}
	return s
}

// receiveStory takes all of a story in, many actions to a commit, and makes what
// follows from it when all is here.
func (s *Shop) receiveStory(story *demo.Story, progress func(int)) error {
	if err := s.Log.DeferViews(); err != nil {
		return err
	}
	var evs []events.Event
	keys := map[events.PersonID]events.PersonKey{}
	done := 0
	signed, err := newStoryHeads(s.Log.Shop(), story)
	if err != nil {
		return err
	}
	flush := func(last []events.SignedHead) error {
		heads, err := signed.of(evs)
		if err == nil {
			err = s.takeChecked(evs, keys, append(heads, last...))
		}
		done += len(evs)
		evs = evs[:0]
		clear(keys)
		if progress != nil {
			progress(done)
		}
		return err
	}
	for a, err := range story.Actions() {
		if err != nil {
			return err
		}
		evs = append(evs, a.Events...)
		maps.Copy(keys, a.Keys)
		if len(evs) >= perCommit(done) {
			if err := flush(nil); err != nil {
				return err
			}
		}
	}
	heads, err := story.Heads()
	if err != nil {
		return err
	}
	return errors.Join(flush(heads), s.freshViews())
}
