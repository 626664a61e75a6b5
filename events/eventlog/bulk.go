package eventlog

import (
	"errors"
	"fmt"
	"io"
	"sync"

	"oldhand/events"

	"github.com/cockroachdb/pebble/v2"
	"github.com/cockroachdb/pebble/v2/vfs"
)

// Bulk writes projections' views wholesale during Rewrite. What comes in the
// order of its keys is written into tables (tables.go), each beginning of keys
// into its own, so that only those of one beginning need to rise.
type Bulk struct {
	log    *Log
	mu     sync.Mutex // of all but writing into a table
	tables tables
	batch  *pebble.Batch // of what came out of order; nil as long as all came in order
}

// bulkBatch is the size in bytes at which what came out of order goes to the
// store.
const bulkBatch = 4 << 20

// Put writes a view. One whose key does not rise above the last of the same
// beginning closes the tables: from then on each is written in its place, and
// replaces what was put under its key before. Until then it may be called from
// several goroutines at once, those of one beginning from one; what does not rise
// comes when only one is left.
func (b *Bulk) Put(k, v []byte) error {
	if len(k) == 0 {
		return errors.New("a view without a key")
	}
	t, err := b.rising(k)
	if err != nil {
		return err
	}
	if t != nil {
		t.last = append(append(t.last[:0], famView), k...)
		return t.w.Set(t.last, v)
	}
	if err := b.batch.Set(viewKey(k), v, nil); err != nil || b.batch.Len() < bulkBatch {
		return err
	}
	return b.flush(pebble.NoSync)
}

// rising is the table that a key goes into; nil where it does not rise, or one did
// not before it.
func (b *Bulk) rising(k []byte) (*table, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.batch != nil {
		return nil, nil
	}
	t, err := b.tables.table(string(k[:1]))
	if err != nil || t.last == nil || string(k) > string(t.last[1:]) {
		return t, err
	}
	return nil, b.takeIn()
}

func (b *Bulk) flush(o *pebble.WriteOptions) error {
	if err := b.batch.Commit(o); err != nil {
		return err
	}
	b.batch.Reset()
	return nil
}

// takeIn finishes the tables and has the store take them in the place of all
// views that there are.
func (b *Bulk) takeIn() error {
	if err := b.tables.finishAll(); err != nil {
		return err // nothing was written yet: the handle lives
	}
	b.batch = b.log.db.NewBatch()
	some := false
	if err := scan(b.log.db, []byte{famView}, []byte{famView + 1}, func(_, _ []byte) (bool, error) { some = true; return false, nil }); err != nil {
		return err
	}
	// Where there are none nothing is deleted: a deletion would have to be
	// flushed before the tables can come.
	if err := b.batch.Delete(metaViews, nil); err != nil {
		return err
	}
	if some {
		if err := b.batch.DeleteRange([]byte{famView}, []byte{famView + 1}, nil); err != nil {
			return err
		}
	}
	if err := b.flush(pebble.Sync); err != nil {
		return err
	}
	// From here on the old views are gone: on this handle the next action would show
	// others an almost empty shop. Opening again makes them.
	if err := b.tables.takeIn(); err != nil {
		b.log.failure.die(err)
	}
	return b.log.failure.err()
}

// ScratchFile is a file for what does not fit into memory. To
// close it takes it away.
type ScratchFile interface {
	io.Writer
	io.ReaderAt
	io.Closer
}

type scratchFile struct {
	vfs.File
	fs   vfs.FS
	path string
}

func (f scratchFile) Close() error { return errors.Join(f.File.Close(), f.fs.Remove(f.path)) }

// Scratch makes such a file. It does not outlive the rewrite.
func (b *Bulk) Scratch() (ScratchFile, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	w, path, err := b.tables.create()
	if err != nil {
		return nil, err
	}
	return scratchFile{w, b.log.fs, path}, nil
}

// Records calls fn with the hash and the record of every event of the log, in parts side
// by side: at most so many, each of whole numbers from nought on and from one goroutine.
// The record is good until fn returns. Events behind a cut are left out. After an error
// no part goes on.
func (b *Bulk) Records(most int, fn func(part int, h events.Hash, record []byte) error) error {
	return b.log.spacing.eachRecord(b.log.db, &b.log.feeds, most, named(fn))
}

// named says of which event it is what fn finds wrong.
func named(fn func(int, events.Hash, []byte) error) func(int, events.FeedID, uint64, events.Hash, []byte) error {
	return func(part int, f events.FeedID, seq uint64, h events.Hash, record []byte) error {
		err := fn(part, h, record)
		if errors.Is(err, events.ErrMalformed) {
			return fmt.Errorf("event %d of feed %s: %w: %w", seq, f.Short(), ErrDamaged, err)
		}
		return err
	}
}

// Records calls fn with every event as Bulk.Records does, of what the view
// holds.
func (v *View) Records(most int, fn func(part int, h events.Hash, record []byte) error) error {
	return v.spacing.eachRecord(v.snap, &v.log.feeds, most, named(fn))
}

// Each calls fn with every event of what the view holds, feed by feed, without
// those behind a cut. Its bytes are good until fn returns.
func (v *View) Each(fn func(events.Event) error) error {
	return v.spacing.eachRecord(v.snap, &v.log.feeds, 1, func(_ int, f events.FeedID, seq uint64, h events.Hash, record []byte) error {
		e, err := events.Trusted(f, seq, record, h)
		if err != nil {
			return fmt.Errorf("%w: %w", ErrDamaged, err)
		}
		return fn(e)
	})
}

// readOnce is how much of the cache is left empty, in bytes, while all events are read:
// each block is read once, and what sorts the views wants the memory.
const readOnce = 40 << 20

// Rewrite throws every view away and lets fn write them anew, under a version.
// No action is made meanwhile, and readers see the old views until it is done.
// If it is broken off, Views is empty afterwards. The events of an older store are
// brought to the form of StoreFormat before (spread.go).
func (l *Log) Rewrite(version string, fn func(*Bulk) error) error {
	if err := l.Err(); err != nil {
		return err
	}
	return l.alone(func() (err error) {
		if err := l.spread(); err != nil {
			return err
		}
		defer l.cache.Reserve(readOnce)()
		b := &Bulk{log: l, tables: tables{log: l}}
		if err := l.db.Delete(metaViews, pebble.Sync); err != nil {
			return err
		}
		defer b.close()
		if err := fn(b); err != nil {
			return err
		}
		if b.batch == nil {
			if err := b.takeIn(); err != nil {
				return err
			}
		}
		if err := b.batch.Set(metaViews, []byte(version), nil); err != nil {
			return err
		}
		if err := b.flush(pebble.Sync); err != nil {
			return err
		}
		l.later.Store(false)
		l.pub.publish(l, nil)
		return nil
	})
}

// close ends what is still open and takes the files away.
func (b *Bulk) close() {
	if b.batch != nil {
		_ = b.batch.Close() // what was not flushed does not count
	}
	b.tables.clear()
}
