package app

import (
	"context"
	"errors"
)

// Watch meets an exchange whenever either side has something new, until the
// context ends. Typed is as for Reach. Met hears of meetings at which something
// moved, note of what went wrong; it goes on then.
func Watch(ctx context.Context, dir string, typed []string, o Options, met func(Met), note func(string)) error {
	w := newWatching(dir, o, note)
	return w.run(ctx, typed, met)
}

func newWatching(dir string, o Options, note func(string)) *watching {
	w := &watching{}
	o.Around = seldom(o.Around, aroundEvery, o.clock())
	w.setUp(dir, o, note)
	return w
}

func (w *watching) run(ctx context.Context, typed []string, met func(Met)) error {
	defer w.hangUp()
	for ctx.Err() == nil {
		m, err := w.look(ctx, typed)
		if ctx.Err() != nil {
			return nil
		}
		if hopeless(err) {
			return err
		}
		if err == nil && m.moved() {
			met(m)
		}
		w.pause(ctx, m, err)
	}
	return nil
}

// hopeless reports whether waiting can't mend an error.
func hopeless(err error) bool {
	return errors.As(err, new(*NoExchange)) || errors.As(err, new(*PlacesLost)) || errors.As(err, new(*NoShop)) || errors.As(err, new(*Wrong))
}

// watching is a connection that is kept while the folder is not.
type watching struct {
	beside
	reached *Reached
}

func (w *watching) hangUp() {
	w.courier.stop()
	if w.reached != nil {
		w.reached.Close()
		w.reached = nil
	}
	w.seen, w.seenKey, w.stored = 0, 0, ""
}

func (w *watching) look(ctx context.Context, typed []string) (m Met, err error) {
	if w.reached == nil {
		if w.reached, err = Find(ctx, w.dir, typed, w.opt); err != nil {
			return m, err
		}
	}
	if m, err = w.meet(ctx, w.reached, func(*Shop) error { return nil }); errors.As(err, new(Unmet)) {
		w.hangUp() // and look for it, or another, anew
	}
	return m, err
}
