package app

import (
	"context"
	"errors"
	"sync"
	"time"

	"oldhand/events"
	"oldhand/events/eventlog"
	"oldhand/events/evidence"
)

// A disk can lose what nobody reads for years. While a folder is served, every
// chain is walked and every photo read once a week, in small steps with long
// pauses, so that no page waits for it. All of these are our choice, no source.
const (
	scrubEvery = 7 * 24 * time.Hour
	scrubLook  = time.Hour             // between looks whether one is due: a laptop sleeps, and its timers with it
	scrubStart = time.Minute           // after the program's, which has enough to do then
	scrubStep  = 512                   // events that are walked at once
	scrubShare = 10                    // one part in so many of the time is spent on it
	scrubLeast = 20 * time.Millisecond // of a pause
	scrubMost  = 10 * time.Second      // of a pause: a clock that was set is no reason to wait
	scrubKeep  = 15 * time.Second      // after which its place is written down
	retryScrub = 10 * time.Minute      // after one that a disk or a lock broke off
)

// Scrubs walks a folder's chains and photos once a week.
type Scrubs struct {
	shop  *Shop
	tell  ScrubHears
	pause func(context.Context, time.Duration)
	asked chan struct{}
	going *running

	mu      sync.Mutex // over what follows
	now     *goingScrub
	of      uint64 // events that are there to be walked
	trouble string // why it does not go on
}

// ScrubHears hear of a scrub; each may be nil.
type ScrubHears struct {
	Begun func(again bool) // again is whether it goes on where one was broken off
	Ended func(Scrubbed)
	Wrong func(error)
	After func() // a step that met damage: the log may have stopped
}

// NewScrubs makes ready to scrub a folder; pause waits, and nil is by the machine's
// clock.
func NewScrubs(s *Shop, h ScrubHears, pause func(context.Context, time.Duration)) *Scrubs {
	if pause == nil {
		pause = pauseFor
	}
	return &Scrubs{shop: s, tell: h, pause: pause, asked: make(chan struct{}, 1)}
}

// Begin has it run beside, until it is closed. The folder stays open as long.
func (c *Scrubs) Begin() { c.going = run(c.Run) }

// Close ends it. A scrub under way goes on where it was at the next start.
func (c *Scrubs) Close() { c.going.end() }

// Start has one begin that is not due yet, or go on that waits.
func (c *Scrubs) Start() error {
	err := c.shop.keepScrub(func(k *keptScrub) {
		if k.Going == nil {
			k.Going = c.fresh()
		}
	})
	select {
	case c.asked <- struct{}{}:
	default: // it was asked already
	}
	return err
}

func (c *Scrubs) fresh() *goingScrub {
	return &goingScrub{Scrubbed: Scrubbed{Begun: c.shop.now().Format(time.RFC3339)}}
}

// Run scrubs whenever it is due until the context ends.
func (c *Scrubs) Run(ctx context.Context) {
	c.waitFor(ctx, scrubStart)
	for ctx.Err() == nil {
		wait := scrubLook
		if due, err := c.due(); err != nil {
			c.wrong(err)
		} else if due {
			if err := c.once(ctx); err != nil {
				c.wrong(err)
				wait = retryScrub
			}
		}
		c.waitFor(ctx, wait)
	}
}

// waitFor waits, or until one is asked for.
func (c *Scrubs) waitFor(ctx context.Context, d time.Duration) {
	ctx, cancel := context.WithCancel(ctx)
	heard := make(chan struct{})
	go func() {
		defer close(heard)
		select {
		case <-c.asked:
			cancel()
		case <-ctx.Done():
		}
	}()
	c.pause(ctx, d)
	cancel()
	<-heard // or it would take what is asked of the next
}

func (c *Scrubs) wrong(err error) {
	c.mu.Lock()
	c.trouble = err.Error()
	c.mu.Unlock()
	if c.tell.Wrong != nil {
		c.tell.Wrong(err)
	}
}

// due reports whether one is to be walked: one was broken off, or the last is a week
// ago, or, by a clock that was set back, to come.
func (c *Scrubs) due() (bool, error) {
	k, err := c.shop.scrubKept()
	if err != nil || k.Going != nil || k.Last == nil {
		return err == nil, err
	}
	at, err := time.Parse(time.RFC3339, k.Last.Ended)
	since := c.shop.now().Sub(at)
	return err != nil || since < 0 || since > scrubEvery, nil
}

// once walks one scrub, from where it was broken off, if it was.
func (c *Scrubs) once(ctx context.Context) error {
	k, err := c.shop.scrubKept()
	if err != nil {
		return err
	}
	again := k.Going != nil && k.Going.At != eventlog.ScrubPlace{}
	if k.Going == nil {
		k.Going = c.fresh()
	}
	if c.tell.Begun != nil {
		c.tell.Begun(again)
	}
	g := k.Going
	c.mu.Lock()
	c.of = uint64(c.shop.eventsHere())
	c.mu.Unlock()
	c.show(g)
	defer c.show(nil)
	err = c.chains(ctx, g)
	if err == nil && g.Walk {
		err = c.pieces(ctx, g)
	}
	if err != nil || ctx.Err() != nil {
		return errors.Join(err, c.keep(g))
	}
	return c.end(g)
}

// end notes a scrub that came to its end.
func (c *Scrubs) end(g *goingScrub) error {
	done := g.Scrubbed
	done.Ended = c.shop.now().Format(time.RFC3339)
	err := c.shop.keepScrub(func(k *keptScrub) { k.Last, k.Going = &done, nil })
	if err == nil && c.tell.Ended != nil {
		c.tell.Ended(done)
	}
	if len(done.Found) > 0 && c.tell.After != nil {
		c.tell.After()
	}
	return err
}

func (c *Scrubs) keep(g *goingScrub) error {
	kept := *g
	return c.shop.keepScrub(func(k *keptScrub) { k.Going = &kept })
}

// show has it seen how far it is; nil is nothing under way.
func (c *Scrubs) show(g *goingScrub) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.now = nil
	if g != nil {
		seen := *g
		c.now, c.trouble = &seen, ""
	}
}

// chains walks the chains that are left. A log that stops over what is damaged can't
// be read further: what was found is what the scrub came to.
func (c *Scrubs) chains(ctx context.Context, g *goingScrub) error {
	return c.steps(ctx, g, func() (over bool, err error) {
		if g.Walk {
			return true, nil
		}
		s, next, over, err := c.shop.scrubOn(g.At)
		g.Events, g.Feeds = g.Events+s.Events, g.Feeds+s.Feeds
		switch {
		case errors.Is(err, eventlog.ErrDamaged):
			g.Found = append(g.Found, damagedLog(err))
			g.At = next
			return c.shop.Log.Err() != nil, nil
		case err != nil:
			return false, err
		}
		g.At, g.Walk = next, over
		return over, nil
	})
}

func (s *Shop) scrubOn(at eventlog.ScrubPlace) (done eventlog.Scrubbed, next eventlog.ScrubPlace, over bool, err error) {
	err = s.view(func(v *eventlog.View) error {
		done, next, over, err = v.ScrubOn(at, scrubStep)
		return err
	})
	return done, next, over, err
}

// pieces reads the photos and recordings that are left, one at a time.
func (c *Scrubs) pieces(ctx context.Context, g *goingScrub) error {
	var list []events.Hash
	err := c.shop.pieces().List(func(h events.Hash, _ int64) (bool, error) {
		if h.String() > g.Piece {
			list = append(list, h)
		}
		return true, nil
	})
	if err != nil {
		return err
	}
	return c.steps(ctx, g, func() (over bool, err error) {
		if len(list) == 0 {
			return true, nil
		}
		h := list[0]
		f, err := c.shop.pieces().Open(h)
		switch {
		case err == nil:
			err = f.Close()
		case errors.Is(err, evidence.ErrDamaged):
			g.Found = append(g.Found, damagedPiece(h.String()))
			err = c.shop.pieces().Aside(h)
		case errors.Is(err, evidence.ErrNotHere): // it was dropped meanwhile
			err = nil
			g.Pieces--
		}
		if err == nil {
			g.Pieces, g.Piece, list = g.Pieces+1, h.String(), list[1:]
		}
		return false, err
	})
}

// steps takes steps until one is the last, and after each waits so long that a small
// share of the time is spent on them. Now and then its place is written down.
func (c *Scrubs) steps(ctx context.Context, g *goingScrub, step func() (over bool, err error)) error {
	kept := c.shop.now()
	for ctx.Err() == nil {
		begun := c.shop.now()
		over, err := step()
		if err != nil || over {
			return err
		}
		c.show(g)
		now := c.shop.now()
		if away := now.Sub(kept); away < 0 || away > scrubKeep {
			if err := c.keep(g); err != nil {
				return err
			}
			kept = now
		}
		c.pause(ctx, min(max(now.Sub(begun)*(scrubShare-1), scrubLeast), scrubMost))
	}
	return nil
}

// ScrubState is how the weekly scrub stands.
type ScrubState struct {
	Last    *Scrubbed `json:"last,omitempty"`
	Begun   string    `json:"begun,omitempty"` // the one under way; empty for none
	Events  uint64    `json:"events"`          // that it walked
	Of      uint64    `json:"of"`              // about so many
	Pieces  int       `json:"pieces"`
	Walks   bool      `json:"walks"` // at this moment, in this program
	Trouble string    `json:"trouble,omitempty"`
}

// State says how it stands.
func (c *Scrubs) State() (ScrubState, error) {
	st, err := c.shop.ScrubState()
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.now != nil {
		st.Begun, st.Events, st.Pieces, st.Walks = shownTime(c.now.Begun), c.now.Events, c.now.Pieces, true
		st.Of = c.of
	}
	st.Trouble = c.trouble
	return st, err
}

// ScrubState says how it stands by what the folder keeps.
func (s *Shop) ScrubState() (st ScrubState, err error) {
	k, err := s.scrubKept()
	st.Last, st.Of = k.Last, uint64(s.eventsHere())
	if g := k.Going; g != nil {
		st.Begun, st.Events, st.Pieces = shownTime(g.Begun), g.Events, g.Pieces
	}
	return st, err
}
