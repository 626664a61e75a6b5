package eventlog

import (
	"context"
	"errors"
	"fmt"
)

// A store of format 1 or 2 keeps a hash with each event, and is read and written so as
// long as it has that format. When all its views are made anew, which writes a store
// anew anyway, its events are brought to the form of format 3: each is checked, all are
// written into tables, and the store takes those in together with its format, all or
// none (tables.go). So whenever that ends, by a crash or for want of room, the store is
// wholly of the one form or of the other.

// errRoom is why events were not brought over: a store holds them twice meanwhile.
var errRoom = errors.New("there is not enough room on the disk to hold the events twice")

// spread brings the events of an older store to the form of StoreFormat, where they can
// be. One that is damaged stays as it is, for whoever reads it to say so. No action is
// made meanwhile.
func (l *Log) spread() error {
	if l.spacing == sparse {
		return nil
	}
	if err := l.roomTwice(); err != nil {
		return l.notSpread(err)
	}
	ts := tables{log: l}
	defer ts.clear()
	if err := l.writeSpread(&ts); err != nil {
		return l.notSpread(err)
	}
	if err := ts.takeIn(); err != nil {
		l.failure.die(err) // whether they were taken in is not known
		return l.failure.err()
	}
	l.spacing = sparse
	// What they replace goes at once, and not when the store comes to it. A failure
	// reaches the handle through the store's own report.
	_ = l.db.Compact(context.Background(), []byte{famEvent}, []byte{famEvent + 1}, false)
	return l.failure.err()
}

// writeSpread writes the events and the format into tables. All is checked by the
// hashes that are kept.
func (l *Log) writeSpread(ts *tables) error {
	var value []byte
	err := l.spacing.eachGroup(l.db, &l.feeds, 1, func(_ int, n feedNo, g *group) error {
		for seq := g.begin.Seq + 1; seq <= g.head().Seq; seq++ {
			t, err := ts.table(string(famEvent))
			if err != nil {
				return err
			}
			value = sparse.appendValue(value[:0], seq, g.hash(seq), g.record(seq))
			if err := t.w.Set(eventKey(n, seq), value); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	t, err := ts.table(string(famMeta))
	if err != nil {
		return err
	}
	if err := t.w.Set(metaFormat, []byte{formatSparse}); err != nil {
		return err
	}
	return ts.finishAll()
}

// notSpread says why the events stay in their old form, and goes on.
func (l *Log) notSpread(why error) error {
	if err := l.failure.err(); err != nil {
		return err
	}
	l.failure.warn(fmt.Sprintf("the events stay in the form of an older version, which takes more room: %v", plain(why)))
	return nil
}

// roomTwice looks whether the events can be written a second time, and once more while
// the store puts them in the place of the others.
func (l *Log) roomTwice() error {
	if l.opt.LeastFree == 0 {
		return nil
	}
	size, err := l.db.EstimateDiskUsage([]byte{famEvent}, []byte{famEvent + 1})
	if err != nil {
		return readError(err)
	}
	use, err := l.fs.GetDiskUsage(l.opt.Dir)
	if err == nil && use.AvailBytes < l.opt.LeastFree+2*size {
		return errRoom
	}
	return err
}
