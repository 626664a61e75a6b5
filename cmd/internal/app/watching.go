package app

import (
	"context"
	"errors"
	"os"
	"time"

	"oldhand/sync/exchange"
)

// Watch meets an exchange whenever either side has something new, until the
// context ends. The folder is open only for as long as that takes. Met hears of
// meetings at which something moved, note of what went wrong; it goes on then.
func Watch(ctx context.Context, dir string, addresses []string, o Options, met func(Met), note func(string)) error {
	o.Wait = folderWait
	w := &watching{dir: dir, addresses: addresses, opt: o}
	defer w.hangUp()
	said := ""
	for {
		m, err := w.look(ctx)
		switch {
		case ctx.Err() != nil:
			return nil
		case errors.As(err, new(*NoExchange)), errors.As(err, new(*NoShop)):
			return err
		case err != nil && err.Error() != said:
			note(err.Error())
		case err == nil && m.Took+m.Gave+m.Aside > 0:
			met(m)
		}
		if said = ""; err != nil {
			said = err.Error() // told once, not at every look
			w.hangUp()
		}
		select {
		case <-ctx.Done():
			return nil
		case <-time.After(pauseAfter(err)):
		}
	}
}

func pauseAfter(err error) time.Duration {
	if err != nil {
		return 3 * time.Second
	}
	return lookEvery
}

// watching is a connection that is kept while the folder is not.
type watching struct {
	dir       string
	addresses []string
	opt       Options
	x         *exchange.Exchange
	seen      uint64
	stored    os.FileInfo
}

func (w *watching) hangUp() {
	if w.x != nil {
		w.x.Close()
		w.x, w.stored = nil, nil
	}
}

func (w *watching) look(ctx context.Context) (m Met, err error) {
	h := Hosting{dir: w.dir, opt: w.opt}
	if w.x != nil {
		state := w.x.State(ctx)
		if !state.Answers {
			return m, errors.Join(exchange.ErrOffline, state.Problem)
		}
		if state.LastSeq == w.seen && sameFile(h.witness(), w.stored) {
			return m, nil
		}
	}
	err = h.inFolder(func(s *Shop) (err error) {
		if w.x == nil {
			if w.x, err = s.dialKnown(ctx, w.addresses); err != nil {
				return err
			}
		}
		m, err = s.Meet(ctx, w.x, "the exchange", nil)
		return err
	})
	if err == nil {
		w.seen, w.stored = w.x.State(ctx).LastSeq, h.witness()
	}
	return m, err
}
