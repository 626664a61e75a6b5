package eventlog

import (
	"cmp"
	"crypto/rand"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"oldhand/events"
	"oldhand/events/hlc"

	"github.com/cockroachdb/pebble/v2"
	"github.com/cockroachdb/pebble/v2/record"
	"github.com/cockroachdb/pebble/v2/sstable"
	"github.com/cockroachdb/pebble/v2/vfs"
)

// Options say where a log is and what it may do.
type Options struct {
	Dir       string            // the store's folder
	FS        vfs.FS            // nil for the machine's disk
	Shop      events.ShopID     // whose log it is; must match a store that is there
	Key       events.BenchKey   // signs and names this bench's feeds; zero to write none
	Witness   string            // path of the witness file, outside Dir; empty to begin a feed at every opening
	Boot      string            // the machine's boot id; empty to begin a feed at every opening
	Projector Projector         // what follows from the events, in the same batch; nil for nothing
	ReadOnly  bool              // open without writing a byte
	Create    bool              // make the store where there is none
	Software  string            // name and version that a feed's first event carries
	Now       func() time.Time  // nil for the machine's clock
	Random    io.Reader         // nil for the machine's
	Warn      func(text string) // what a person may want to know; nil to drop it

	// LeastFree stops writing when less is free on the disk, in bytes; zero
	// does not look. DefaultLeastFree is for a laptop.
	LeastFree uint64
	Ballast   bool          // keep a file to give up when the disk is full
	Deadline  time.Duration // of a commit; zero is DefaultDeadline

	// Bulk makes ready to take in very much at once: a whole log or book.
	Bulk bool

	memTable uint64 // tests: small memtables flush often
	calm     bool   // tests: no compaction of its own accord
	cold     bool   // tests: nothing that was read stays in memory
	manyKeys int    // tests: from how many keys on an action is written as tables
	format   byte   // tests: of a store that is made

	grace time.Duration // tests: how long Close waits for views
}

// DefaultLeastFree leaves room to close, to export and to clean up.
const DefaultLeastFree = 200 << 20

// DefaultDeadline is far beyond any sync of a disk that works.
const DefaultDeadline = 30 * time.Second

// Projector adds what follows from events to the batch that appends them. It
// is called on one goroutine at a time, with events in the order appended.
type Projector interface {
	Project(tx *Tx, evs []events.Event) error
}

// Log is the events of a shop on this disk. Its methods may be called from
// several goroutines.
type Log struct {
	opt     Options
	bench   events.BenchID
	db      *pebble.DB
	cache   *pebble.Cache // of its blocks, as long as it is open
	fs      vfs.FS
	guard   *diskGuard
	stuck   bool // an opening for writing went dead and still holds the folder's lock
	failure *failure
	space   space
	witness witnessFile
	ballast ballast
	found   Found

	tableOptions sstable.WriterOptions // of tables written beside the store
	manyKeys     int
	ownTable     int
	clock        *hlc.Clock

	later atomic.Bool // nothing follows from events until Rewrite

	queue queue // of actions, and who commits them

	// Of the committing goroutine only.
	own      feedNo // the feed this bench writes or wrote last; noFeed where it never wrote here
	begun    bool   // whether own may be gone on with
	doubtful bool   // the folder may be an older copy of itself

	spacing spacing // of the events in the store; changed only while no action is made
	feeds   feedTable
	retired atomic.Bool // by the owner: this bench writes nothing more

	pub     published
	closing sync.Once
}

// Found says what opening found out.
type Found struct {
	// ReadOnly is why nothing can be written, or nil.
	ReadOnly error
	// LostTail is set where the witness saw more of this bench's own feed than
	// the store has: an older copy was put back, or the disk lost the end.
	LostTail *LostTail
}

// LostTail says how much of the bench's own last feed is gone here.
type LostTail struct {
	Have, Had uint64 // events; Had by the witness
}

func (l LostTail) String() string {
	return fmt.Sprintf("this bench saved %d events before and has %d of them: an older copy was put back or the disk lost the end; whoever has the others can give them back: read an export of that bench in", l.Had, l.Have)
}

// Open opens a log, makes it where Options say so, and reads where its feeds
// end. A folder that can't be written opens for reading, with the reason in
// Found. It writes no event: a feed begins with the first.
func Open(o Options) (*Log, error) {
	o.setDefaults()
	l := &Log{opt: o, own: noFeed, manyKeys: cmp.Or(o.manyKeys, manyKeys), ownTable: ownTable, failure: newFailure(o.Warn), witness: witnessFile{path: o.Witness}}
	l.failure.died = l.queue.abandon
	l.ballast = ballast{fs: o.FS, path: o.FS.PathJoin(o.FS.PathDir(o.Dir), "ballast")}
	l.guard = &diskGuard{FS: vfs.OnDiskFull(o.FS, l.ballast.drop), failed: func(err error) { l.failure.die(err) }}
	l.fs = l.guard
	l.space = space{fs: o.FS, dir: o.Dir, least: o.LeastFree, now: o.Now}
	l.queue.wake = sync.NewCond(&l.queue.mu)
	if !o.Key.IsZero() {
		id, err := o.Key.Public()
		if err != nil {
			return nil, err
		}
		l.bench = id
	}
	if err := l.openStore(); err != nil {
		close(l.failure.over)
		return nil, fmt.Errorf("open the log in %s: %w", o.Dir, err)
	}
	if err := l.load(); err != nil {
		return nil, errors.Join(fmt.Errorf("open the log in %s: %w", o.Dir, err), l.Close())
	}
	return l, nil
}

func (o *Options) setDefaults() {
	if o.FS == nil {
		o.FS = vfs.Default
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Random == nil {
		o.Random = rand.Reader
	}
	if o.Deadline == 0 {
		o.Deadline = DefaultDeadline
	}
}

// openStore opens for writing, and for reading only where it can't.
func (l *Log) openStore() error {
	if !l.opt.ReadOnly {
		err := l.space.check()
		if err == nil {
			if err = l.tryOpen(false); err == nil || !unwritable(err) {
				return err
			}
			l.stuck = errors.Is(err, ErrDead)
			err = fmt.Errorf("%w, because %w", ErrReadOnly, plain(err))
		}
		l.opt.ReadOnly, l.found.ReadOnly = true, err
		close(l.failure.over)
		l.failure = newFailure(l.opt.Warn)
		l.failure.died = l.queue.abandon
	}
	if l.found.ReadOnly == nil {
		l.found.ReadOnly = fmt.Errorf("%w, because the log was opened for reading", ErrReadOnly)
	}
	return l.tryOpen(true)
}

func (l *Log) tryOpen(readOnly bool) error {
	o := l.opt
	o.ReadOnly = readOnly
	fresh, err := l.isFresh()
	if err != nil {
		return l.openError(err)
	}
	if fresh && (readOnly || !o.Create) {
		return ErrNoStore
	}
	size := int64(cacheSize)
	if o.cold {
		size = 0
	}
	cache := pebble.NewCache(size)
	defer cache.Unref()
	folder := l.fs
	if readOnly {
		folder = readFS{l.fs, l.stuck}
	}
	settings := settings(folder, l.failure, o, cache)
	settings.Experimental.SpanPolicyFunc = l.apart
	opened := make(chan *pebble.DB, 1) // what opens after the deadline is nobody's
	err = l.failure.run(o.Deadline, "open", func() error {
		if !readOnly {
			if err := o.FS.MkdirAll(o.Dir, 0o700); err != nil {
				return err
			}
		}
		db, err := pebble.Open(o.Dir, settings)
		if err == nil && fresh {
			db, err = again(db, o.Dir, settings)
		}
		opened <- db
		return err
	})
	if err != nil {
		return l.openError(err)
	}
	l.db, l.cache = <-opened, cache
	// As for the first level, and not for the last, where a deletion counts for nothing;
	// but packed as there, for what is written at once often stays as it is for long.
	l.tableOptions = settings.MakeWriterOptions(0, l.db.TableFormat())
	l.tableOptions.Compression = settings.Levels[len(settings.Levels)-1].Compression()
	l.guard.armed.Store(true)
	return nil
}

// again closes a store that was just made and opens it once more. The engine
// makes one in its oldest format and raises it afterwards, so the first
// write-ahead log has no account of what was synced in it, and damage in the
// middle of it would pass for its end.
func again(db *pebble.DB, dir string, settings *pebble.Options) (*pebble.DB, error) {
	if err := db.Close(); err != nil {
		return nil, err
	}
	return pebble.Open(dir, settings)
}

// isFresh reports whether the folder holds no store yet.
func (l *Log) isFresh() (bool, error) {
	desc, err := pebble.Peek(l.opt.Dir, l.opt.FS)
	if err != nil {
		if l.opt.FS != nil && isNotExist(err) {
			return true, nil
		}
		return false, err
	}
	return !desc.Exists, nil
}

// openError puts the store's words for a lock that is held, and for damage,
// into ours.
func (l *Log) openError(err error) error {
	switch {
	case corrupt(err), errors.Is(err, record.ErrInvalidChunk), errors.Is(err, record.ErrZeroedChunk):
		return errorsJoin(ErrDamaged, "", err)
	case strings.Contains(err.Error(), "lock held by current process"), strings.Contains(err.Error(), "resource temporarily unavailable"):
		return fmt.Errorf("%w: %w", ErrInUse, err)
	case strings.Contains(err.Error(), "unknown to this version") || strings.Contains(err.Error(), "written in unknown format"):
		return fmt.Errorf("%w: %w", ErrNewer, err)
	}
	return err
}

// load reads the store's format, its feeds, its clock, and how it stands to
// the witness.
func (l *Log) load() error {
	if err := l.checkFormat(); err != nil {
		return err
	}
	if err := errors.Join(l.feeds.loadBases(l.db), l.feeds.load(l.db)); err != nil {
		return err
	}
	if err := l.feeds.loadCuts(l.db); err != nil {
		return err
	}
	retired, err := l.getMeta(metaRetired)
	if err != nil {
		return err
	}
	l.retired.Store(len(retired) == 1 && retired[0] == 1)
	last, err := l.getMeta(metaClock)
	if err != nil {
		return err
	}
	var stamp hlc.Stamp
	if len(last) == 8 {
		stamp = hlc.Stamp(binary.BigEndian.Uint64(last))
	}
	l.clock = hlc.New(func() int64 { return l.opt.Now().UnixMilli() }, stamp)
	if err := l.standing(); err != nil {
		return err
	}
	if l.opt.Ballast && !l.opt.ReadOnly {
		l.ballast.lay(l.opt.Dir, l.opt.LeastFree)
	}
	l.pub.publish(l, nil)
	return nil
}

func (l *Log) checkFormat() error {
	format, err := l.getMeta(metaFormat)
	if err != nil {
		return err
	}
	shop, err := l.getMeta(metaShop)
	if err != nil {
		return err
	}
	if format == nil {
		return l.unstamped()
	}
	if len(format) != 1 || format[0] > StoreFormat {
		return fmt.Errorf("store format %x, this program reads up to %d: %w", format, StoreFormat, ErrNewer)
	}
	if string(shop) != string(l.opt.Shop[:]) {
		return fmt.Errorf("the store is of shop %x, not of %s", shop, l.opt.Shop)
	}
	l.spacing = spacingOf(format[0])
	return nil
}

// unstamped makes a store of what is empty. Rows without a format are what is
// left of a store.
func (l *Log) unstamped() error {
	err := scan(l.db, []byte{0}, []byte{255}, func([]byte, []byte) (bool, error) {
		return false, fmt.Errorf("rows without a format: %w", ErrDamaged)
	})
	if err != nil {
		return err
	}
	if l.opt.ReadOnly || !l.opt.Create {
		return ErrNoStore
	}
	return l.stamp()
}

// stamp writes the format and the shop into a new store.
func (l *Log) stamp() error {
	format := cmp.Or(l.opt.format, StoreFormat)
	l.spacing = spacingOf(format)
	return l.failure.run(l.opt.Deadline, "make the store", func() error {
		b := l.db.NewBatch()
		defer b.Close()
		return errors.Join(b.Set(metaFormat, []byte{format}, nil), b.Set(metaShop, l.opt.Shop[:], nil), b.Commit(pebble.Sync))
	})
}

func (l *Log) getMeta(k []byte) ([]byte, error) {
	return get(l.db, k)
}

// Found says what opening found out.
func (l *Log) Found() Found { return l.found }

// Bench is the bench that writes here; zero for one that only reads.
func (l *Log) Bench() events.BenchID { return l.bench }

// Shop is whose log it is.
func (l *Log) Shop() events.ShopID { return l.opt.Shop }

// Err is nil while the log can be written, and says why not otherwise.
func (l *Log) Err() error {
	if err := l.failure.err(); err != nil {
		return err
	}
	return l.found.ReadOnly
}

// closeGrace is how long Close waits for views that are still read.
const closeGrace = 5 * time.Second

// Close ends the log. It waits for the action that is being committed; those
// not begun get ErrClosed. Views must be given back before: one that is not
// keeps the store open, and Close says so.
func (l *Log) Close() (err error) {
	l.queue.shut()
	l.closing.Do(func() { err = l.shut() })
	return err
}

func (l *Log) shut() error {
	defer close(l.failure.over)
	l.pub.shut()
	if l.db == nil || l.failure.err() != nil {
		// A dead handle is left as it is: closing would flush, and what it
		// holds in memory may be what failed to be written.
		return l.witness.close()
	}
	if !l.pub.given(cmp.Or(l.opt.grace, closeGrace)) {
		return errors.Join(errors.New("close the log: a view of it was not given back"), l.witness.close())
	}
	l.guard.armed.Store(false)
	return errors.Join(l.failure.run(l.opt.Deadline, "close", l.closeStore), l.witness.close())
}

// longestReplay is how much of its log a store may be left to read again at the
// next opening: some tens of milliseconds' worth.
const longestReplay = 4 << 20

// closeStore closes the store. What would take long to read again is put into
// tables first.
func (l *Log) closeStore() error {
	if !l.opt.ReadOnly && l.db.Metrics().WAL.Size > longestReplay {
		if err := l.db.Flush(); err != nil {
			return errors.Join(err, l.db.Close())
		}
	}
	return l.db.Close()
}
