package eventlog

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"

	"github.com/cockroachdb/pebble/v2/objstorage/objstorageprovider"
	"github.com/cockroachdb/pebble/v2/sstable"
	"github.com/cockroachdb/pebble/v2/vfs"
)

// Much at once, a long run of another bench's events or all views, is written
// into sorted tables beside the store, which takes them in as they are, all or
// none of them, and synced. The other way each key goes into the write-ahead log,
// into memory, from there into a table and soon into another, which together
// costs several times as much.

// manyKeys is from how many keys on an action is written so, where nothing follows from
// its events.
const manyKeys = 4096

// tableSize is about how large a table becomes.
const tableSize = 32 << 20

// tables are sorted tables that are being written. Keys are in the table of the name
// that they are put under; under one name they come in order.
type tables struct {
	log  *Log
	open map[string]*table
	made []string // paths of finished ones
	nth  int
}

// table is one of them.
type table struct {
	w    *sstable.Writer
	path string
	last []byte // the key written last
}

// making is the folder, in the store's, of files that are being written. Nothing
// in it counts.
func (l *Log) making() string { return l.fs.PathJoin(l.opt.Dir, "making") }

// tidy takes away what is there, also what was left when the machine stopped.
func (l *Log) tidy() error { return l.fs.RemoveAll(l.making()) }

func (ts *tables) create() (vfs.File, string, error) {
	fs := ts.log.fs
	if ts.nth == 0 {
		if err := errors.Join(ts.log.tidy(), fs.MkdirAll(ts.log.making(), 0o700)); err != nil {
			return nil, "", err
		}
	}
	ts.nth++
	path := fs.PathJoin(ts.log.making(), fmt.Sprintf("%06d", ts.nth))
	f, err := fs.Create(path, vfs.WriteCategoryUnspecified)
	return f, path, err
}

// table is the open table of a name.
func (ts *tables) table(name string) (*table, error) {
	t := ts.open[name]
	if t != nil && t.w.Raw().EstimatedSize() < tableSize {
		return t, nil
	}
	next := &table{}
	if t != nil {
		next.last = t.last
		if err := ts.finish(t); err != nil {
			return nil, err
		}
		delete(ts.open, name)
	}
	f, path, err := ts.create()
	if err != nil {
		return nil, err
	}
	next.path = path
	next.w = sstable.NewWriter(objstorageprovider.NewFileWritable(f), ts.log.tableOptions)
	if ts.open == nil {
		ts.open = map[string]*table{}
	}
	ts.open[name] = next
	return next, nil
}

func (ts *tables) finish(t *table) error {
	if err := t.w.Close(); err != nil {
		return err
	}
	ts.made = append(ts.made, t.path)
	return nil
}

// finishAll finishes the tables that are open. What can fail for want of room does so
// here, before the store knows of any.
func (ts *tables) finishAll() error {
	for name, t := range ts.open {
		delete(ts.open, name)
		if err := ts.finish(t); err != nil {
			return err
		}
	}
	return nil
}

// takeIn has the store take in the tables, which are finished.
func (ts *tables) takeIn() error {
	if len(ts.made) == 0 {
		return nil
	}
	return ts.log.db.Ingest(context.Background(), ts.made)
}

// clear ends what is still open and takes the files away. Files that stay are in
// nobody's way, and the next to write some tries again.
func (ts *tables) clear() {
	for _, t := range ts.open {
		_ = t.w.Close() // nothing of it counts
	}
	if ts.nth == 0 {
		return
	}
	if err := ts.log.tidy(); err != nil {
		ts.log.failure.warn("files that are not needed any more are left in " + ts.log.making() + ": " + err.Error())
	}
}

// ownTable is from how many events on a feed's run has a table of its own. Where feeds
// come in turn, one that held several of them would lie over what comes of each next.
const ownTable = 1000

// rowKey is how many bytes of an event's key name its row.
const rowKey = 1 + 4

// naming names the tables of a layer's keys, which come in order. Tables of one action
// must not lie over one another: none is gone on with after another was begun.
type naming struct {
	ly     *layer
	own    int // from how many events on a run has a table of its own
	begins []byte
	name   string
	alone  bool // the table is that of one run
}

func (n *naming) of(k []byte) string {
	b := k[:min(rowKey, len(k))]
	if bytes.Equal(b, n.begins) {
		return n.name
	}
	n.begins = append(n.begins[:0], b...)
	if k[0] != famEvent || len(b) < rowKey {
		n.name, n.alone = string(endOf(k)), true
		return n.name
	}
	alone := len(n.ly.runs[feedNo(binary.BigEndian.Uint32(b[1:]))]) >= n.own
	if alone || n.alone {
		n.name, n.alone = string(b), alone
	}
	return n.name
}

// saveTables puts a layer on the disk by tables, one for each stretch of keys and each
// long run of a feed.
func (l *Log) saveTables(ly *layer) error {
	ts := tables{log: l}
	defer ts.clear()
	names := naming{ly: ly, own: l.ownTable, alone: true}
	err := ly.each(l.spacing, func(k, v []byte, join bool) error {
		t, err := ts.table(names.of(k))
		if err != nil {
			return err
		}
		switch {
		case join:
			return t.w.Merge(k, v)
		case v == nil:
			return t.w.Delete(k)
		}
		return t.w.Set(k, v)
	})
	if err == nil {
		err = ts.finishAll()
	}
	if err != nil {
		return fmt.Errorf("write tables: %w", plain(err)) // nothing of it counts: the handle lives
	}
	if err := ts.takeIn(); err != nil {
		l.failure.die(err) // whether they were taken in is not known
	}
	return nil
}
