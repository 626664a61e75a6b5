package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"slices"
	"time"
)

// turn is one part's time on the machine: what it is asked, a place for what it
// makes, and what has to be closed when it is over. Its methods are those of a
// benchmark's testing.TB as far as they are needed, since a part that can't go
// on is left where it is, without a table of its own.
type turn struct {
	*asked
	dir  string // holds what the turn makes, and is gone after it
	undo []func()
	late error // of goroutines, which can't leave the turn
}

// broken is how a turn is left early.
type broken struct{ why error }

// attempt has a part do its work, and gives why it could not.
func (a *asked) attempt(work func(*turn)) (err error) {
	dir, err := os.MkdirTemp(a.dir, "turn-")
	if err != nil {
		return err
	}
	t := &turn{asked: a, dir: dir}
	defer func() { err = errors.Join(err, t.late, os.RemoveAll(dir)) }()
	defer func() {
		for _, fn := range slices.Backward(t.undo) {
			fn()
		}
	}()
	defer func() {
		switch p := recover().(type) {
		case nil:
		case broken:
			err = p.why
		default:
			panic(p)
		}
	}()
	work(t)
	return nil
}

// check leaves the turn if something went wrong.
func (t *turn) check(err error) {
	if err != nil {
		panic(broken{err})
	}
}

func (t *turn) Fatalf(format string, args ...any) { t.check(fmt.Errorf(format, args...)) }

// Cleanup is done when the turn is over, the last first.
func (t *turn) Cleanup(fn func()) { t.undo = append(t.undo, fn) }

// TempDir is an empty folder that is gone when the turn is over.
func (t *turn) TempDir() string {
	dir, err := os.MkdirTemp(t.dir, "")
	t.check(err)
	return dir
}

// within is the context of what the turn waits for.
func (t *turn) within() context.Context { return context.Background() }

// rounds does the same again and again: as often as was asked for, or fewer times
// where one more would take too long. Both sides of a figure are measured in each
// round, so that what else the machine does meets both.
func (t *turn) rounds(once func()) {
	begun := time.Now()
	for n := range t.most {
		if spent := time.Since(begun); n > 0 && spent+spent/time.Duration(n) > t.longest {
			return
		}
		once()
	}
}

// timed is how long something takes, in seconds.
func (t *turn) timed(fn func() error) float64 {
	begun := time.Now()
	err := fn()
	took := time.Since(begun)
	t.check(err)
	return took.Seconds()
}

// percentile is the value that so many of 100 are not above; the values end up
// in order.
func percentile(values []float64, percent int) float64 {
	slices.Sort(values)
	return values[(len(values)-1)*percent/100]
}

// median is the middle value, and between two middle ones half way.
func median(values []float64) float64 {
	sorted := slices.Sorted(slices.Values(values))
	n := len(sorted)
	return (sorted[(n-1)/2] + sorted[n/2]) / 2
}
