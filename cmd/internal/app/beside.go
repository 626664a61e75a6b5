package app

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"oldhand/events/eventlog"
	"oldhand/sync/exchange"
)

// How often, and how long, a program that runs beside the bench's commands is
// at work.
const (
	lookEvery  = 300 * time.Millisecond // between looks for something to exchange
	afterError = 3 * time.Second        // and after one that went wrong
	afterStall = 10 * time.Second       // or at which nothing moved, though something should
	briefWait  = time.Second            // for a command that has the folder; the next look tries again
	noWitness  = 30 * time.Second       // where nothing says whether the bench wrote
	longBusy   = 20 * time.Second       // for which it has it, before that is told
)

// beside meets an exchange while a person works in the same folder. The folder
// is open only while there is something to exchange, and not for long at a time.
type beside struct {
	dir  string
	opt  Options
	note func(string)  // told in words what goes wrong, once
	wake chan struct{} // ends a pause; it holds one

	seen    uint64 // the exchange's last message when it was met last,
	seenKey uint64 // its last of a customer's key,
	stored  string // and the witness then: it says something else after every action

	took string // the same of what came from others; see tookFile
	last time.Time

	heard atomic.Pointer[heard] // how the exchange was when it was asked last
	ill   atomic.Bool           // the last look went wrong

	courier courier // of photos and recordings

	said string    // what was told last
	busy time.Time // since when the folder is another's; zero while it is not
}

func (b *beside) setUp(dir string, o Options, note func(string)) {
	o.Wait = briefWait
	b.dir, b.opt, b.note, b.wake = dir, o, note, make(chan struct{}, 1)
	b.courier.note = note
}

// inFolder opens the folder, lets fn work and closes it.
func (b *beside) inFolder(fn func(*Shop) error) error {
	s, err := Open(b.dir, b.opt)
	if errors.Is(err, eventlog.ErrInUse) && b.opt.Kept != nil && b.opt.Kept() {
		return ErrLeftOpen
	}
	if err != nil {
		return err
	}
	return errors.Join(fn(s), s.Close())
}

// meet meets the exchange where either side has something new. Also runs in the
// open folder, after the meeting.
func (b *beside) meet(ctx context.Context, r *Reached, also func(*Shop) error) (m Met, err error) {
	state, stored := r.x.State(ctx), b.witness()
	b.heard.Store(&heard{r.With, state})
	if ctx.Err() != nil {
		return m, nil
	}
	if !state.Answers {
		return m, Unmet{{r.With, errors.Join(exchange.ErrOffline, state.Problem), r.cluster}}
	}
	keys, err := lastKey(ctx, r)
	if err != nil {
		return m, err
	}
	if b.nothingNew(state.LastSeq, keys, stored) {
		return m, nil
	}
	took := ""
	err = b.inFolder(func(s *Shop) (err error) {
		m, err = s.Meet(ctx, r, brief, nil)
		took = fileText(b.dir, tookFile) // nobody else writes it while the folder is open here
		if err != nil {
			return err
		}
		return also(s)
	})
	if err == nil && !m.left {
		b.courier.send(r, m.errand)
		b.took = took
		b.last = time.Now()
		b.seen, b.seenKey, b.stored = state.LastSeq, keys, stored // as before: what came meanwhile may not have been met
	}
	return m, err
}

// nothingNew reports whether neither the exchange nor the folder has anything
// that it did not have when they met last.
func (b *beside) nothingNew(last, lastKey uint64, stored string) bool {
	return last == b.seen && lastKey == b.seenKey && stored == b.stored && fileText(b.dir, tookFile) == b.took &&
		(stored != "" || time.Since(b.last) < noWitness)
}

// pause tells what went wrong, unless it was told already, and waits for the
// next look.
func (b *beside) pause(ctx context.Context, m Met, err error) {
	d := lookEvery
	b.ill.Store(err != nil)
	switch {
	case err == nil:
		b.said, b.busy = "", time.Time{}
		if m.left && !m.moved() {
			d = afterStall
		}
	case errors.Is(err, eventlog.ErrInUse) && !b.longBusy():
	case err.Error() != b.said:
		b.said = err.Error()
		b.note(b.said)
		fallthrough
	default:
		d = afterError
	}
	select {
	case <-ctx.Done():
	case <-b.wake:
	case <-b.written(d):
	case <-time.After(d):
	}
}

// written ends a pause as soon as something is written into a folder that is open
// in this process: another bench's page waits for it. One that something goes
// wrong in lasts.
func (b *beside) written(pause time.Duration) <-chan struct{} {
	if b.opt.In == nil || pause > lookEvery {
		return nil
	}
	return b.opt.In.Log.Changed()
}

// heard is how an exchange was when it was asked.
type heard struct {
	with  string
	state exchange.State
}

// longBusy reports whether the folder has been another's for long.
func (b *beside) longBusy() bool {
	if b.busy.IsZero() {
		b.busy = time.Now()
	}
	return time.Since(b.busy) > longBusy
}

// witness is what the file says that every action writes; empty where there is
// none.
func (b *beside) witness() string {
	path, err := witnessPath(b.dir, b.opt)
	if err != nil {
		return ""
	}
	return fileText("", path)
}

// fileText is what a small file says; empty where it is not there.
func fileText(dir, name string) string {
	text, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return string(text)
}
