package eventlog

import (
	"bytes"
	"strings"

	"github.com/cockroachdb/pebble/v2"
	"github.com/cockroachdb/pebble/v2/bloom"
	"github.com/cockroachdb/pebble/v2/vfs"
)

// storeVersion is the store engine's own format, by name and raised only on
// purpose: a store of a newer one can't be opened by an older program. This
// one commits in the log to what was synced, so that a damaged tail is told
// from a tail that was never written; the engine's default does not.
const storeVersion = pebble.FormatValueSeparation

const (
	// bulkMemTable is 64 MiB: sorted tables are then written in large pieces,
	// which is most of the write speed of a catch-up. The engine lays out its
	// log file for as much, so for a shop's daily work, where a command writes
	// some hundred bytes, it is 8 MiB.
	bulkMemTable = 64 << 20
	memTable     = 8 << 20

	// cacheSize is what the store may keep of its tables in memory.
	cacheSize = 64 << 20

	// mergeAt is how many tables may lie over one another before the engine merges them
	// with what is below. Reading goes through all of them. A store that is still small
	// is about to be filled, where it is filled at once, and then each merge writes again
	// what all before it wrote: it waits for more.
	mergeAt, mergeSmallAt = 4, 8

	// small is how many bytes of tables a store has that is small.
	small = 2 << 20
)

// settings are the store's options. Every one that is not the engine's default
// has its reason beside it.
func settings(fs vfs.FS, f *failure, o Options, cache *pebble.Cache) *pebble.Options {
	p := &pebble.Options{
		FS: fs, Cache: cache, Logger: f, ReadOnly: o.ReadOnly,
		FormatMajorVersion:    storeVersion,
		MemTableSize:          memTable,
		L0CompactionThreshold: mergeAt,
		L0StopWritesThreshold: 24, // a catch-up may run ahead of compaction by this many flushes
		EventListener: &pebble.EventListener{
			// The default of this one ends the process from a goroutine of the
			// engine. A read that met the damage gives an error by itself; one
			// that comes later must not find the handle alive.
			DataCorruption:  func(i pebble.DataCorruptionInfo) { f.die(damage(i)) },
			BackgroundError: func(err error) { f.background(err) },
			WriteStallBegin: func(i pebble.WriteStallBeginInfo) { f.warn("the store waits: " + i.Reason) },
			DiskSlow:        func(i pebble.DiskSlowInfo) { f.warn("the disk is slow: " + i.String()) },
			LowDiskSpace:    f.lowDisk,
		},
	}
	if isSmall(fs, o.Dir) {
		p.L0CompactionThreshold = mergeSmallAt
	}
	if o.Bulk {
		p.MemTableSize = bulkMemTable
	}
	if o.memTable > 0 {
		p.MemTableSize = o.memTable
	}
	if o.calm {
		p.DisableAutomaticCompactions = true // so that a run of the same script does the same to the disk
		p.L0StopWritesThreshold = 1000       // nothing would end the wait
	}
	p.DisableTableStats = o.cold // so that nobody reads but who is asked
	p.ApplyCompressionSettings(func() pebble.DBCompressionSettings { return pebble.DBCompressionGood })
	for i := range p.Levels {
		p.Levels[i].BlockSize = 16 << 10 // larger blocks pack better and cost a point read little
		p.Levels[i].FilterPolicy = bloom.FilterPolicy(10)
	}
	return p
}

// apart has the engine keep events, what else is not views, and views in tables of
// their own while a catch-up comes in. A table that reached from events into lists would
// lie over all events to come, and those could not be put where nothing is above them:
// they would be written again with every list. In daily life each opening would leave a
// table of a few events so, which nothing ever merges.
func (l *Log) apart(from []byte) (_ pebble.SpanPolicy, end []byte, _ error) {
	if l.later.Load() {
		end = endOf(from)
	}
	return pebble.SpanPolicy{}, end, nil
}

// ends are where the stretches end that tables do not reach over.
var ends = [][]byte{{famEvent + 1}, {famView}}

// endOf is where the stretch ends that a key lies in; nil is that it has no end.
func endOf(k []byte) []byte {
	for _, end := range ends {
		if bytes.Compare(k, end) < 0 {
			return end
		}
	}
	return nil
}

// isSmall reports whether a store has few tables yet. Of one that can't be read the
// engine says so.
func isSmall(fs vfs.FS, dir string) bool {
	names, err := fs.List(dir)
	if err != nil {
		return true
	}
	var all int64
	for _, name := range names {
		if !strings.HasSuffix(name, ".sst") {
			continue
		}
		if info, err := fs.Stat(fs.PathJoin(dir, name)); err == nil {
			all += info.Size()
		}
		if all > small {
			return false
		}
	}
	return true
}

func damage(i pebble.DataCorruptionInfo) error {
	if i.Details != nil {
		return errorsJoin(ErrDamaged, i.Path, i.Details)
	}
	return errorsJoin(ErrDamaged, i.Path, nil)
}
