package app

import (
	"errors"
	"os"
	"path/filepath"

	"oldhand/events/eventlog"
	"oldhand/projections"
)

// trial has fn work on a copy of the shop's store that is thrown away: whatever it saves
// there nobody sees, and it needs no more memory than saving it here would. The copy
// shares the store's files as long as neither changes them, and has room for itself on
// the same disk. It gives no tags, since nothing in it keeps one.
func (s *Shop) trial(fn func(*Shop) error) (err error) {
	if err := s.sweepScratch(); err != nil {
		return err
	}
	scratch, err := os.MkdirTemp(s.Dir, scratchPrefix+"*")
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(scratch)) }()
	store := filepath.Join(scratch, "store")
	if err := s.Log.Checkpoint(store); err != nil {
		return err
	}
	l, err := eventlog.Open(eventlog.Options{Dir: store, Shop: s.Log.Shop(), Key: s.key, Projector: projections.Engine{},
		Software: Software, Now: s.now, LeastFree: eventlog.DefaultLeastFree})
	if err != nil {
		return err
	}
	card := s.Card
	card.Number = 0
	t := newShop(scratch, card, l, s.key, s.now)
	defer func() { err = errors.Join(err, t.Close()) }()
	return fn(t)
}
